// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

/// Samples of all channels of one device, at one rate, as raw counts of its converter.
struct SampleBlock {
  std::int64_t first_sample = 0;  // counter since the device was started; never steps back
  base::UtcTime start;            // device time of the first sample
  bool gap_before = false;        // samples between the last block and this one were missed
  /// When its last sample had come, by this computer's clock of that moment; nothing where the
  /// device's time does not run with the world's.
  std::optional<base::UtcTime> received;
  std::size_t channels = 0;
  std::size_t samples = 0;
  std::vector<std::int32_t> counts;  // channels x samples, one channel after the other

  std::span<const std::int32_t> channel(std::size_t index) const {
    return std::span(counts).subspan(index * samples, samples);
  }
  /// Takes the counts from samples that lie one after the other.
  /// @param in_time  (samples x channels)
  void fill(std::span<const std::int32_t> in_time, std::size_t all_channels) {
    channels = all_channels;
    samples = in_time.size() / channels;
    counts.resize(in_time.size());
    for (std::size_t i = 0; i < samples; ++i) {
      for (std::size_t c = 0; c < channels; ++c)
        counts[c * samples + i] = in_time[i * channels + c];
    }
  }
};

/// What a person does at the bench when asked to, beside what an actuator or a known input is for.
enum class HandAction {
  press_emergency_stop,
  release_emergency_stop,
  open_cover,
  close_cover,
  open_fuse,
  close_fuse,
};
/// In words, as to whom it is said.
std::string_view in_words(HandAction action);

/// What channels and actuators are reached through. One thread drives a device.
/// Every function may throw DeviceFault: no answer, refused, lost.
class Device {
 public:
  virtual ~Device() = default;

  virtual const std::string& name() const = 0;
  virtual double sample_rate_hz() const = 0;
  /// The device's own clock; for a simulated bench simulated time.
  virtual base::UtcTime now() const = 0;

  /// Commands an actuator by its name in bench.toml, in its unit there. A manual actuator (blade
  /// count, pitch) is changed by a person: the call returns when they say that it is done.
  virtual void set(std::string_view actuator, double value) = 0;
  /// Lays a known input on one channel for calibration or check; `remove_known_input` ends it. On a
  /// real bench a person does it and the call returns when they say so.
  virtual void apply_known_input(std::string_view channel, double value) = 0;
  virtual void remove_known_input() = 0;

  /// Asks the person at the bench for it and returns when they say that it is done; on a simulated
  /// bench it is done at once. @throws DeviceFault  nobody can be asked
  virtual void ask_for(HandAction action);
  /// What the device itself says that an actuator is set to, in its unit there; nothing where it
  /// cannot be asked.
  virtual std::optional<double> setting(std::string_view /*actuator*/) { return std::nullopt; }

  /// Waits for the next samples and puts them into the block; block.counts is reused.
  virtual void read(SampleBlock& block) = 0;
  /// Brings the bench to its safe state: fan off, load on. Works at any time and never throws.
  virtual void stop() noexcept = 0;

  /// What is worth telling about the samples so far, each in one line: broken messages, clocks that
  /// drift apart. Empty where all is as it should be.
  virtual std::vector<std::string> remarks() const { return {}; }

  /// What is needed to continue from here after the program was ended, as text; empty where the
  /// world itself remembers (real hardware).
  virtual std::string bookmark() const { return {}; }
  virtual void return_to(std::string_view /*bookmark*/) {}
};

}  // namespace windwright::bench
