// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace windwright::acquisition {

/// Where the next recording of what led to a trip goes: `trip-001.h5` and so on.
std::filesystem::path next_trip_recording(const std::filesystem::path& folder);

/// The last samples of all channels at full rate, in memory allocated once. Samples are counted
/// from 0 as they come in, whatever the device's own counter says.
class Ring {
 public:
  /// @param device   its name, for the recordings saved
  /// @param seconds  kept; above 0
  Ring(const bench::Bench& bench, std::string device, double seconds);

  /// @param block  all channels; longer than the ring: its last samples are kept
  void append(const bench::SampleBlock& block);
  std::int64_t first() const;                // oldest sample that is still here
  std::int64_t end() const { return end_; }  // one past the newest

  /// Writes a stretch as a recording of its own, with the gaps in it and the times at which its
  /// blocks came.
  /// @param window  of samples; what is no longer or not yet here is left out
  /// @return        what was written
  /// @throws BadInput  the file exists; std::runtime_error: the disk's
  recording::Window save(const std::filesystem::path& file, const recording::Window& window) const;

 private:
  /// Where samples follow each other without a gap.
  struct Run {
    std::int64_t first;  // sample
    std::int64_t device_sample;
    base::UtcTime start;
  };

  /// When a sample had come, by this computer's clock.
  struct Arrival {
    std::int64_t sample;
    base::UtcTime received;
  };

  std::vector<Arrival> arrivals_in(std::int64_t from, std::int64_t to) const;
  base::UtcTime time_of(std::int64_t sample) const;
  void store(std::size_t channel, std::int64_t at, std::span<const std::int32_t> counts);
  void load(std::size_t channel, const recording::Window& window, std::int32_t* to) const;

  const bench::Bench& bench_;
  std::string device_;
  std::int64_t capacity_;
  std::int64_t end_ = 0;
  std::vector<std::vector<std::uint16_t>> narrow_;  // (channels); empty where wide
  std::vector<std::vector<std::int32_t>> wide_;     // of converters of more than 16 bits
  std::vector<Run> runs_;                           // oldest first; at least one after a block
  std::vector<Arrival> arrivals_;  // of the last blocks, going round: as many as fit in whole
  std::size_t arrived_ = 0;        // ever put there
};

}  // namespace windwright::acquisition
