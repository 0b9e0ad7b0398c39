// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"

#include <optional>

namespace windwright::guard {

/// A controlled stop, block by block: a load first, so that nothing lets the rotor run away, then
/// the fan down as fast as its travel allows; when the rotor stands still, or has had long enough,
/// power is taken away (category 1) or stays on with the fan at nought (category 2).
/// Source: IEC 60204-1, stop categories 1 and 2. Category 0 is Device::stop() and needs no
/// sequence.
class StopSequence {
 public:
  struct Options {
    int stop_category;                    // 1 or 2
    std::optional<double> load_selector;  // as it was commanded last, where that is known
    double longest_s = 60.0;
  };
  /// Begins it. @throws DeviceFault  the device's: then only Device::stop() is left
  StopSequence(const bench::Bench& bench, bench::Device& device, const Options& options);

  /// After each block; ends with Device::stop() in category 1.
  void advance(double block_s, double rotor_speed_rad_s);
  bool finished() const { return finished_; }

 private:
  bench::Device& device_;
  Options options_;
  double passed_s_ = 0.0;
  double still_s_ = 0.0;
  bool finished_ = false;
};

}  // namespace windwright::guard
