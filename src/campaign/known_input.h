// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"

#include <cstddef>
#include <string>

namespace windwright::campaign {

struct MeanVoltage {
  double reading_V;
  double u_V;  // of the mean; from the scatter
  double dof;
};

/// A known input on one channel, taken off again whatever happens.
class KnownInput {
 public:
  /// @throws DeviceFault
  KnownInput(bench::Device& device, const std::string& channel, double value);
  KnownInput(const KnownInput&) = delete;
  KnownInput& operator=(const KnownInput&) = delete;
  ~KnownInput();
  void remove();

 private:
  bench::Device& device_;
  bool removed_ = false;
};

/// Mean of a channel's samples over `seconds`, after a rest for the sensor; begun again after a
/// gap.
/// @throws DeviceFault
MeanVoltage mean_voltage(const bench::Bench& bench, std::size_t channel, bench::Device& device,
                         double seconds);
/// The same with a known input laid on meanwhile.
MeanVoltage voltage_under(const bench::Bench& bench, std::size_t channel, bench::Device& device,
                          double value, double seconds);

}  // namespace windwright::campaign
