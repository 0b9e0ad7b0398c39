// SPDX-License-Identifier: Apache-2.0
#include "metrology/steady_state.h"

#include "metrology/student.h"
#include "signal/statistics.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

// Lag-1 autocorrelation of the residuals about a line, less its bias; never below 0, so that
// swings do not count as more samples than there are.
double residual_correlation(std::span<const double> residuals) {
  const auto n = static_cast<double>(residuals.size());
  const double r = signal::autocorrelation(residuals, 1);
  return std::clamp(r + (2.0 + 4.0 * r) / n, 0.0, 0.99);
}

}  // namespace

Drift drift_over(std::span<const double> block_means, const SettlingRule& rule) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  Drift result{.mean = block_means.empty() ? 0.0 : signal::mean(block_means),
               .drift = 0.0,
               .u = infinity,
               .dof = 1.0,
               .effective_samples = static_cast<double>(block_means.size()),
               .settled = false};
  constexpr std::size_t fewest = 6;
  if (block_means.size() < fewest) return result;

  const auto n = static_cast<double>(block_means.size());
  const double middle = 0.5 * (n - 1.0);
  double products = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < block_means.size(); ++i) {
    const double t = static_cast<double>(i) - middle;
    products += t * (block_means[i] - result.mean);
    squares += t * t;
  }
  const double slope = products / squares;
  std::vector<double> residuals(block_means.size());
  double scatter = 0.0;
  for (std::size_t i = 0; i < residuals.size(); ++i) {
    residuals[i] = block_means[i] - result.mean - slope * (static_cast<double>(i) - middle);
    scatter += residuals[i] * residuals[i];
  }
  result.drift = slope * n;
  const double bound = std::max(rule.drift_relative * std::abs(result.mean), rule.drift_absolute);
  const auto [lowest, highest] = std::minmax_element(block_means.begin(), block_means.end());
  result.settled = *highest - *lowest <= bound;
  const double r = scatter > 0.0 ? residual_correlation(residuals) : 0.0;
  result.effective_samples = n * (1.0 - r) / (1.0 + r);
  if (result.effective_samples < 3.0) return result;
  result.dof = result.effective_samples - 2.0;
  result.u = n * std::sqrt(scatter / (result.dof * squares));

  const double expanded = result.u * student_factor(rule.level, result.dof);
  const double size = std::abs(result.drift);
  result.settled |= size <= bound && (size <= expanded || size + expanded <= bound);
  return result;
}

}  // namespace windwright::metrology
