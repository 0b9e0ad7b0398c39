// SPDX-License-Identifier: Apache-2.0
#include "analysis/clock_drift.h"

#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr double fewest_degrees = 3.0;

/// Of one stretch about its means: x the device's seconds, y how far the host's went beyond them.
struct Sums {
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;
};

Sums sums_of(std::span<const recording::ClockPair> pairs) {
  // From the first pair on, so that nanoseconds of long recordings are not rounded.
  const recording::ClockPair& first = pairs.front();
  std::vector<double> x;
  std::vector<double> y;
  double mean_x = 0.0;
  double mean_y = 0.0;
  for (const recording::ClockPair& pair : pairs) {
    const std::int64_t device_ns = pair.device_ns - first.device_ns;
    x.push_back(1e-9 * static_cast<double>(device_ns));
    y.push_back(1e-9 * static_cast<double>((pair.host - first.host).count() - device_ns));
    mean_x += x.back();
    mean_y += y.back();
  }
  mean_x /= static_cast<double>(pairs.size());
  mean_y /= static_cast<double>(pairs.size());
  Sums sums;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double dx = x[i] - mean_x;
    const double dy = y[i] - mean_y;
    sums.xx += dx * dx;
    sums.xy += dx * dy;
    sums.yy += dy * dy;
  }
  return sums;
}

// So many that two digits of the uncertainty are there.
int decimals_of(double u) {
  constexpr double most = 9.0;
  return u > 0.0 ? static_cast<int>(std::clamp(1.0 - std::floor(std::log10(u)), 0.0, most)) : 9;
}

}  // namespace

std::optional<ClockDrift> clock_drift(std::span<const recording::ClockPair> pairs,
                                      std::span<const recording::Gap> gaps) {
  Sums all;
  double dof = -1.0;  // the slope's
  for (std::size_t begin = 0; begin < pairs.size();) {
    const auto next_gap = std::upper_bound(
        gaps.begin(), gaps.end(), pairs[begin].sample,
        [](std::int64_t sample, const recording::Gap& gap) { return sample < gap.before_sample; });
    std::size_t end = begin + 1;
    while (end < pairs.size() &&
           (next_gap == gaps.end() || pairs[end].sample < next_gap->before_sample))
      ++end;
    const Sums sums = sums_of(pairs.subspan(begin, end - begin));
    all.xx += sums.xx;
    all.xy += sums.xy;
    all.yy += sums.yy;
    dof += static_cast<double>(end - begin) - 1.0;
    begin = end;
  }
  if (dof < fewest_degrees || !(all.xx > 0.0)) return std::nullopt;
  const double slow = all.xy / all.xx;  // host's seconds beyond each of the device's
  const double rest = std::max(0.0, all.yy - slow * all.xy);
  const double u_slow = std::sqrt(rest / dof / all.xx);
  // Samples by the host's second are 1 / (1 + slow) of the nominal ones.
  const double ahead = -slow / (1.0 + slow);
  return ClockDrift{
      .drift_ppm = 1e6 * ahead,
      .u_drift_ppm = 1e6 * u_slow / ((1.0 + slow) * (1.0 + slow)),
      .dof = dof,
      .pairs = static_cast<std::int64_t>(pairs.size()),
      .span_s = 1e-9 * static_cast<double>(pairs.back().device_ns - pairs.front().device_ns)};
}

std::string words_of(const ClockDrift& drift, double nominal_Hz) {
  const double u_rate_Hz = drift.u_rate_Hz(nominal_Hz);
  return fmt::format(
      "the device's clock ran {:.{}f} ppm {} than the computer's, u {:.2g} ppm with {:.0f} degrees "
      "of freedom ({} pairs over {:.0f} s): {:g} samples/s were {:.{}f}, u {:.2g}",
      std::abs(drift.drift_ppm), decimals_of(drift.u_drift_ppm),
      drift.drift_ppm >= 0.0 ? "faster" : "slower", drift.u_drift_ppm, drift.dof, drift.pairs,
      drift.span_s, nominal_Hz, drift.rate_Hz(nominal_Hz), decimals_of(u_rate_Hz), u_rate_Hz);
}

}  // namespace windwright::analysis
