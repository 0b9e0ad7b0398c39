// SPDX-License-Identifier: Apache-2.0
#include "metrology/sample_statistics.h"

#include "base/errors.h"
#include "metrology/outliers.h"
#include "metrology/steady_state.h"
#include "signal/statistics.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>

namespace windwright::metrology {

SampleStatistics sample_statistics(std::span<const double> samples, const SettlingRule& rule) {
  constexpr std::size_t most_blocks = 60;
  constexpr std::size_t most_suspects = 10;
  if (!std::all_of(samples.begin(), samples.end(),
                   [](double each) { return std::isfinite(each); })) {
    throw base::BadInput("samples", "one is not finite", "finite numbers");
  }
  const signal::CorrelatedMean mean = signal::mean_of_correlated(samples);
  const double deviation = std::sqrt(signal::variance(samples));
  const auto [least, largest] = std::minmax_element(samples.begin(), samples.end());
  const std::size_t block = std::max<std::size_t>(1, samples.size() / most_blocks);
  const auto n = static_cast<double>(samples.size());
  Drift drift = drift_over(signal::block_means(samples, block), rule);
  // Too few for a slope that is known, but samples within the bound of each other do not drift.
  drift.settled |=
      *largest - *least <= std::max(rule.drift_relative * std::abs(mean.mean), rule.drift_absolute);
  SampleStatistics result{.count = samples.size(),
                          .mean = mean,
                          .standard_deviation = deviation,
                          .least = *least,
                          .largest = *largest,
                          .integral_steps = 0.5 * n / mean.effective_samples,
                          .intensity = mean.mean != 0.0 ? deviation / std::abs(mean.mean)
                                                        : std::numeric_limits<double>::quiet_NaN(),
                          .drift = drift,
                          .upper = std::nullopt,
                          .lower = std::nullopt,
                          .suspects = {}};
  if (samples.size() >= 3) {
    result.upper = grubbs(samples, End::upper);
    result.lower = grubbs(samples, End::lower);
    // A tenth of the samples may be wrong; more than that are no outliers but what there is.
    result.suspects =
        suspects(samples, std::clamp<std::size_t>(samples.size() / 10, 1, most_suspects));
  }
  return result;
}

}  // namespace windwright::metrology
