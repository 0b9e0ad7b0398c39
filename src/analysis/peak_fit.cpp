// SPDX-License-Identifier: Apache-2.0
#include "analysis/peak_fit.h"

#include "metrology/fit.h"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace windwright::analysis {

namespace {

// x is brought to about -1 .. 1, so that powers stay well conditioned.
struct Scale {
  double centre;
  double half_width;
  double to(double x) const { return (x - centre) / half_width; }
};

double curvature(std::span<const double> coefficients, double t) {
  double sum = 0.0;
  for (std::size_t k = coefficients.size(); k-- > 2;)
    sum = sum * t + static_cast<double>(k * (k - 1)) * coefficients[k];
  return sum;
}

struct Candidate {
  std::vector<double> coefficients;  // rising powers of the scaled x
  Eigen::MatrixXd estimator;         // coefficients x points: c = estimator * y
  double chi_squared = 0.0;
  double aicc = 0.0;
  std::optional<double> optimum;  // scaled
};

// Strictly inside (-1, 1), or nothing.
std::optional<double> inner_maximum(std::span<const double> coefficients) {
  const auto value = [&](double t) { return metrology::polynomial(coefficients, t); };
  const auto slope = [&](double t) { return metrology::polynomial_slope(coefficients, t); };
  constexpr int steps = 400;
  int best = 0;
  const auto grid = [](int i) { return -1.0 + 2.0 * i / steps; };
  for (int i = 1; i <= steps; ++i) {
    if (value(grid(i)) > value(grid(best))) best = i;
  }
  if (best == 0 || best == steps) return std::nullopt;
  double low = grid(best - 1);
  double high = grid(best + 1);
  if (!(slope(low) > 0.0 && slope(high) < 0.0)) return std::nullopt;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (low + high);
    (slope(middle) > 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

Candidate candidate(int degree, const Eigen::VectorXd& t, const Eigen::VectorXd& y,
                    const Eigen::VectorXd& root_weight) {
  const Eigen::Index n = t.size();
  Eigen::MatrixXd powers(n, degree + 1);
  powers.col(0).setOnes();
  for (int k = 1; k <= degree; ++k)
    powers.col(k) = powers.col(k - 1).cwiseProduct(t);
  const Eigen::MatrixXd weighted = root_weight.asDiagonal() * powers;
  Candidate result;
  result.estimator = weighted.completeOrthogonalDecomposition().pseudoInverse() *
                     Eigen::MatrixXd(root_weight.asDiagonal());
  const Eigen::VectorXd solution = result.estimator * y;
  result.coefficients.assign(solution.begin(), solution.end());
  result.chi_squared = root_weight.cwiseProduct(y - powers * solution).squaredNorm();
  // Points that lie on a polynomial leave rounding only: not a reason for more coefficients.
  const double least = 1e-20 * root_weight.cwiseProduct(y).squaredNorm();
  const double points = static_cast<double>(n);
  const double k = degree + 2.0;
  result.aicc = points * std::log(std::max(result.chi_squared, least) / points) + 2.0 * k;
  // Of six points the cubic stands alone, so that its criterion is compared with nothing.
  if (points > k + 1.0) result.aicc += 2.0 * k * (k + 1.0) / (points - k - 1.0);
  result.optimum = inner_maximum(result.coefficients);
  return result;
}

// Powers of (x - centre) / half_width multiplied out.
std::vector<double> in_x(std::span<const double> coefficients, const Scale& scale) {
  std::vector<double> sum{0.0};
  for (std::size_t k = coefficients.size(); k-- > 0;) {
    std::vector<double> next(sum.size() + 1, 0.0);
    for (std::size_t i = 0; i < sum.size(); ++i) {
      next[i + 1] += sum[i] / scale.half_width;
      next[i] -= sum[i] * scale.centre / scale.half_width;
    }
    next[0] += coefficients[k];
    sum = std::move(next);
  }
  sum.resize(coefficients.size());
  return sum;
}

PeakFit peak_of(const Candidate& fitted, const Eigen::VectorXd& t, const Scale& scale) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  const auto coefficients = static_cast<Eigen::Index>(fitted.coefficients.size());
  PeakFit fit{.coefficients = in_x(fitted.coefficients, scale),
              .optimum = nan,
              .maximum = nan,
              .maximum_weights = {},
              .optimum_weights = {},
              .slopes = {},
              .chi_squared = fitted.chi_squared,
              .degrees_of_freedom = static_cast<int>(t.size() - coefficients),
              .aicc = fitted.aicc,
              .inside = fitted.optimum.has_value()};
  if (!fit.inside) return fit;
  const double at = *fitted.optimum;
  Eigen::VectorXd value(coefficients);
  Eigen::VectorXd slope(coefficients);
  for (Eigen::Index k = 0; k < coefficients; ++k) {
    value[k] = std::pow(at, static_cast<double>(k));
    slope[k] = k == 0 ? 0.0 : static_cast<double>(k) * std::pow(at, static_cast<double>(k - 1));
  }
  const Eigen::VectorXd of_maximum = fitted.estimator.transpose() * value;
  const Eigen::VectorXd of_optimum = fitted.estimator.transpose() * slope *
                                     (-scale.half_width / curvature(fitted.coefficients, at));
  fit.optimum = scale.centre + scale.half_width * at;
  fit.maximum = metrology::polynomial(fitted.coefficients, at);
  fit.maximum_weights = {of_maximum.begin(), of_maximum.end()};
  fit.optimum_weights = {of_optimum.begin(), of_optimum.end()};
  for (const double place : t)
    fit.slopes.push_back(metrology::polynomial_slope(fitted.coefficients, place) /
                         scale.half_width);
  return fit;
}

}  // namespace

std::optional<PeakFit> fit_peak(std::span<const double> x, std::span<const double> y,
                                std::span<const double> variance, int degree) {
  const auto n = static_cast<int>(x.size());
  if (n < fewest_points_to_fit) return std::nullopt;
  const auto [lowest, highest] = std::minmax_element(x.begin(), x.end());
  if (*highest <= *lowest) return std::nullopt;
  const Scale scale{.centre = 0.5 * (*lowest + *highest), .half_width = 0.5 * (*highest - *lowest)};
  Eigen::VectorXd t(n);
  Eigen::VectorXd values(n);
  Eigen::VectorXd root_weight(n);
  for (int i = 0; i < n; ++i) {
    const auto at = static_cast<std::size_t>(i);
    t[i] = scale.to(x[at]);
    values[i] = y[at];
    root_weight[i] = 1.0 / std::sqrt(variance[at]);
  }
  std::vector<double> places(x.begin(), x.end());
  std::sort(places.begin(), places.end());
  const auto distinct =
      static_cast<int>(std::unique(places.begin(), places.end()) - places.begin());
  const bool enough = n >= degree + (degree == 4 ? 4 : 3);
  if (!enough || distinct <= degree + 1) return std::nullopt;
  return peak_of(candidate(degree, t, values, root_weight), t, scale);
}

}  // namespace windwright::analysis
