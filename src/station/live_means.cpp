// SPDX-License-Identifier: Apache-2.0
#include "station/live_means.h"

#include "bench/bench.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>

namespace windwright::station {

RunningMeans::RunningMeans(std::size_t channels, double sample_rate_hz)
    : sample_rate_hz_(sample_rate_hz), sums_(channels) {}

std::optional<LiveMeans> RunningMeans::take(const bench::SampleBlock& block,
                                            const acquisition::LiveValues& live,
                                            std::span<const acquisition::Figures> figures) {
  const double block_s = static_cast<double>(block.samples) / sample_rate_hz_;
  const auto& channels = live.channels();
  for (std::size_t i = 0; i < channels.size(); ++i) {
    const acquisition::Figures& seen = figures[i];
    const double term = bench::is_alternating(channels[i].name)
                            ? seen.mean * seen.mean + seen.deviation * seen.deviation
                            : seen.mean;
    sums_[i] += term * block_s;
    if (channels[i].name != "air_speed_m_s") continue;
    double cubes = 0.0;
    for (const float value : live.values(i))
      cubes += std::pow(static_cast<double>(value), 3.0);
    cubes_ += cubes / sample_rate_hz_;
  }
  seconds_ += block_s;
  if (seconds_ < stretch_s - 1e-9) return std::nullopt;
  LiveMeans means{
      .time = block.start, .seconds = seconds_, .air_speed_cubed_m3_s3 = cubes_ / seconds_};
  for (std::size_t i = 0; i < channels.size(); ++i) {
    if (!channels[i].calibrated) continue;
    const double mean = sums_[i] / seconds_;
    means.means[channels[i].name] =
        bench::is_alternating(channels[i].name) ? std::sqrt(std::max(mean, 0.0)) : mean;
  }
  std::fill(sums_.begin(), sums_.end(), 0.0);
  seconds_ = cubes_ = 0.0;
  return means;
}

}  // namespace windwright::station
