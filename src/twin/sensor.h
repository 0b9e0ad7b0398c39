// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/random.h"
#include "bench/bench.h"
#include "twin/fault.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::twin {

/// One simulated sensor with its converter. Its true transfer is drawn once per seed:
///   volts = offset + sensitivity (x + drift) + bow 4 xi (1 - xi),  xi = place of x in the
///   calibrated range, 0 to 1,
/// then a first-order lag, white noise, and the converter, which clips and rounds to its steps. A
/// waveform has its lag behind it already (physics/bridge_signals.h): from sample to sample nobody
/// could say what it did in between.
///
/// A known input stands for a value only as well as its standard does. A value out of
/// [channel.calibration] references comes from the reference standard, whose errors (one absolute,
/// one relative, drawn once) are the same at every use; that is the day of calibration, so the
/// sensor has not drifted yet. The value of [channel.check_standard] comes from the check standard
/// with an error of its own; that and all other use is later, so the drift shows.
class Sensor {
 public:
  /// What lies on the sensor; each has noise of its own, so that a mean taken in calibration says
  /// nothing about the noise of a later measurement.
  enum class Input { process, reference, check };

  /// @throws BadInput  the channel has no [channel.simulated]
  Sensor(const bench::Channel& channel, std::uint64_t seed, double sample_rate_hz);

  Input kind_of_known_input(double value) const;
  /// What truly acts on the sensor, in the channel's unit, drift included, when `value` is there.
  double true_input(Input kind, double value) const;

  /// Settles the lag on the next input: after the input was changed, or a time without samples.
  void settle() { memory_.settled = false; }
  /// The next sample. The lag takes the input as linear between samples, exactly.
  /// @param sample  its number, for the noise
  std::int32_t counts(Input kind, double true_input, std::int64_t sample);
  /// The next samples, as by one call each.
  struct Samples {
    Input kind;
    bool lagged;         // a waveform behind its lag
    std::int64_t first;  // number of the first
    std::span<const double> true_input;
  };
  /// @param shown  as many as there are inputs
  void counts(const Samples& samples, std::span<std::int32_t> shown);
  /// For as many samples at once `counts` allocates nothing.
  void make_room(std::size_t samples) {
    if (samples > numbers_.size()) numbers_.resize(samples);
  }

  /// From the sample on; takes the place of another fault. Its channel is not looked at.
  /// @param fault  one of a sensor
  void start_fault(const Fault& fault, std::int64_t sample);
  void end_fault() { memory_.fault = no_fault; }

  static constexpr std::int64_t no_fault = -1;
  /// Lag and fault, for a bookmark.
  struct Memory {
    bool settled = false;
    double input_V = 0.0;
    double output_V = 0.0;
    std::int64_t counts = 0;        // last shown
    std::int64_t fault = no_fault;  // or a FaultKind
    std::int64_t fault_sample = 0;  // when it began
    double fault_amount = 0.0;
    double fault_over_s = 0.0;
  };
  const Memory& memory() const { return memory_; }
  void restore(const Memory& memory) { memory_ = memory; }

 private:
  double felt(double true_input, std::int64_t sample) const;
  double transferred_V(double sensed) const;
  std::int32_t converted(double input_V) const;

  bench::Converter converter_;
  std::vector<double> references_;
  bool has_check_ = false;
  double check_value_ = 0.0;
  double check_error_ = 0.0;
  double standard_error_ = 0.0;
  double standard_error_relative_ = 0.0;
  double drift_ = 0.0;
  double offset_V_ = 0.0;
  double sensitivity_V_ = 0.0;
  double bow_V_ = 0.0;
  double lowest_ = 0.0;
  double span_ = 1.0;
  double noise_V_ = 0.0;
  double steps_ = 1.0;                     // of the converter
  double keep_ = 0.0;                      // of the output, over one sample
  double from_old_ = 0.0;                  // weight of the input one sample ago
  double from_new_ = 1.0;                  // weight of the input now
  std::vector<base::RandomStream> noise_;  // by Input
  base::RandomStream clamp_;               // contact of a loose one
  base::RandomStream disturbance_;         // of a noisy one
  double sample_rate_hz_;
  Memory memory_;
  std::vector<double> numbers_;  // of the noise, (samples)
};

}  // namespace windwright::twin
