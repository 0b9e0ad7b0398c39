// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

namespace windwright::guard {

/// So long a controlled stop may take; then power is removed. Common practice, no source: a small
/// rotor with its load on stands within a quarter of it.
inline constexpr double longest_stop_s = 60.0;
/// A rotor as slow as this stands: 10 turns a minute.
inline constexpr double standstill_rad_s = 1.0;

/// When a controlled stop is over, block by block. A stop that was asked for is over when the fan
/// has had its travel; one after a trip when the rotor has stood still for a second besides, or
/// overdue after the longest time. What is commanded at its beginning, a load and then the fan to
/// nought, is AcquisitionLayer's. Source: IEC 60204-1, stop categories 1 and 2 (from memory).
class StopSequence {
 public:
  struct Options {
    bool until_standstill;
    double longest_s = longest_stop_s;
  };
  StopSequence(const bench::Bench& bench, const Options& options);

  /// After each block.
  void advance(double block_s, double rotor_speed_rad_s);
  bool finished() const { return finished_; }
  bool overdue() const { return !finished_ && passed_s_ >= options_.longest_s; }

 private:
  Options options_;
  double travel_s_;
  double passed_s_ = 0.0;
  double still_s_ = 0.0;
  bool finished_ = false;
};

}  // namespace windwright::guard
