// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_values.h"
#include "base/clock.h"
#include "bench/device.h"

#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::station {

/// Means over a stretch of about half a second, for the energy chain and the values that are shown.
struct LiveMeans {
  std::int64_t number = 0;  // counts up; 0: none yet
  base::UtcTime time{};
  double seconds = 0.0;
  std::map<std::string, double, std::less<>> means = {};  // channels and powers; alternating: RMS
  double air_speed_cubed_m3_s3 = 0.0;
};

/// Makes them of block after block. One thread.
class RunningMeans {
 public:
  static constexpr double stretch_s = 0.5;

  RunningMeans(std::size_t channels, double sample_rate_hz);

  /// @param live     as of this block
  /// @param figures  of its channels
  /// @return  the means, where a stretch ends with it: of calibrated channels only, not numbered
  std::optional<LiveMeans> take(const bench::SampleBlock& block,
                                const acquisition::LiveValues& live,
                                std::span<const acquisition::Figures> figures);

 private:
  double sample_rate_hz_;
  double seconds_ = 0.0;
  std::vector<double> sums_;  // value x s, or its square x s
  double cubes_ = 0.0;
};

}  // namespace windwright::station
