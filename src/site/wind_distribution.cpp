// SPDX-License-Identifier: Apache-2.0
#include "site/wind_distribution.h"

#include "base/errors.h"

#include <boost/math/special_functions/gamma.hpp>
#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <span>

namespace windwright::site {

namespace {

constexpr double smallest_shape = 0.2;
constexpr double largest_shape = 100.0;

void require_above_0(double value, const char* what) {
  if (value > 0.0 && std::isfinite(value)) return;
  throw base::BadInput(what, fmt::format("is {}", value), "a number above 0");
}

// Mean of the n-th power over scale^n.
double moment(double shape, double n) {
  return boost::math::tgamma(1.0 + n / shape);
}

double deviation_over_mean(double shape) {
  const double first = moment(shape, 1.0);
  return std::sqrt(moment(shape, 2.0) - first * first) / first;
}

double root_between(auto&& f, double low, double high) {
  std::uintmax_t steps = 200;
  const auto [a, b] = boost::math::tools::toms748_solve(
      f, low, high, boost::math::tools::eps_tolerance<double>(50), steps);
  return 0.5 * (a + b);
}

// What the likelihood needs of the values, for one shape; values come divided by their largest, so
// that no power overflows.
struct PowerSums {
  double plain = 0.0;        // of x^k
  double with_log = 0.0;     // of x^k ln x
  double with_square = 0.0;  // of x^k (ln x)^2
  double logs = 0.0;         // of ln x
};

PowerSums power_sums(std::span<const double> values, double largest, double shape) {
  PowerSums sums;
  for (const double value : values) {
    const double log = std::log(value / largest);
    const double power = std::exp(shape * log);
    sums.plain += power;
    sums.with_log += power * log;
    sums.with_square += power * log * log;
    sums.logs += log;
  }
  return sums;
}

}  // namespace

Weibull weibull_of_mean(double mean_m_s, double shape) {
  require_above_0(mean_m_s, "mean air speed");
  require_above_0(shape, "Weibull shape");
  return {.scale_m_s = mean_m_s / moment(shape, 1.0), .shape = shape};
}

Weibull rayleigh(double mean_m_s) {
  return weibull_of_mean(mean_m_s, 2.0);
}

double cumulative(const Weibull& wind, double air_speed_m_s) {
  if (air_speed_m_s <= 0.0) return 0.0;
  return -std::expm1(-std::pow(air_speed_m_s / wind.scale_m_s, wind.shape));
}

double mean_m_s(const Weibull& wind) {
  return wind.scale_m_s * moment(wind.shape, 1.0);
}

double standard_deviation_m_s(const Weibull& wind) {
  return mean_m_s(wind) * deviation_over_mean(wind.shape);
}

double mode_m_s(const Weibull& wind) {
  if (wind.shape <= 1.0) return 0.0;
  return wind.scale_m_s * std::pow((wind.shape - 1.0) / wind.shape, 1.0 / wind.shape);
}

double energy_pattern_factor(const Weibull& wind) {
  return moment(wind.shape, 3.0) / std::pow(moment(wind.shape, 1.0), 3);
}

double power_density_W_m2(const Weibull& wind, double density_kg_m3) {
  return 0.5 * density_kg_m3 * std::pow(wind.scale_m_s, 3) * moment(wind.shape, 3.0);
}

double exceeded_m_s(const Weibull& wind, double a_m_s, double b_m_s) {
  const double order = 1.0 / wind.shape;
  const auto lower = [&](double v_m_s) {
    return boost::math::tgamma_lower(order, std::pow(v_m_s / wind.scale_m_s, wind.shape));
  };
  return wind.scale_m_s * order * (lower(b_m_s) - lower(a_m_s));
}

Weibull weibull_by_moments(double mean_m_s, double standard_deviation_m_s) {
  require_above_0(mean_m_s, "mean air speed");
  require_above_0(standard_deviation_m_s, "standard deviation of the air speed");
  const double wanted = standard_deviation_m_s / mean_m_s;
  if (wanted > deviation_over_mean(smallest_shape) || wanted < deviation_over_mean(largest_shape)) {
    throw base::BadInput("standard deviation of the air speed",
                         fmt::format("is {:.3g} of the mean", wanted),
                         "the standard deviation of a wind that changes");
  }
  const double shape = root_between([&](double k) { return deviation_over_mean(k) - wanted; },
                                    smallest_shape, largest_shape);
  return weibull_of_mean(mean_m_s, shape);
}

Weibull weibull_by_justus(double mean_m_s, double standard_deviation_m_s) {
  require_above_0(mean_m_s, "mean air speed");
  require_above_0(standard_deviation_m_s, "standard deviation of the air speed");
  return weibull_of_mean(mean_m_s, std::pow(standard_deviation_m_s / mean_m_s, -1.086));
}

WeibullFit weibull_by_likelihood(std::span<const double> air_speed_m_s) {
  for (const double value : air_speed_m_s)
    require_above_0(value, "air speed");
  if (air_speed_m_s.size() < 2 ||
      std::all_of(air_speed_m_s.begin(), air_speed_m_s.end(),
                  [&](double value) { return value == air_speed_m_s.front(); })) {
    throw base::BadInput("air speeds", "do not differ", "two different ones or more");
  }
  const auto n = static_cast<double>(air_speed_m_s.size());
  const double largest = *std::max_element(air_speed_m_s.begin(), air_speed_m_s.end());
  // d ln L / d shape at the best scale, over n; falls with the shape.
  const auto slope = [&](double shape) {
    const PowerSums sums = power_sums(air_speed_m_s, largest, shape);
    return 1.0 / shape + sums.logs / n - sums.with_log / sums.plain;
  };
  double high = 1.0;
  while (slope(high) > 0.0 && high < 1e6)
    high *= 2.0;
  double low = high;
  while (slope(low) < 0.0 && low > 1e-6)
    low *= 0.5;
  const double shape = root_between(slope, low, high);
  const PowerSums sums = power_sums(air_speed_m_s, largest, shape);
  const double scale = largest * std::pow(sums.plain / n, 1.0 / shape);

  // Observed information: minus the second derivatives of ln L. With y = ln(v / scale) and w =
  // (v / scale)^shape: n / k^2 + sum w y^2, n k^2 / A^2, and -(1/A) k sum w y (sum w = n).
  const double log_ratio = std::log(largest / scale);
  const double to_w = n / sums.plain;
  const double w_y = to_w * (sums.with_log + sums.plain * log_ratio);
  const double w_y2 = to_w * (sums.with_square + 2.0 * log_ratio * sums.with_log +
                              log_ratio * log_ratio * sums.plain);
  const double of_shape = n / (shape * shape) + w_y2;
  const double of_scale = n * shape * shape / (scale * scale);
  const double mixed = -shape / scale * w_y;
  const double determinant = of_shape * of_scale - mixed * mixed;
  const double sum_y = sums.logs + n * log_ratio;
  return {.wind = {.scale_m_s = scale, .shape = shape},
          .u_scale_m_s = std::sqrt(of_shape / determinant),
          .u_shape = std::sqrt(of_scale / determinant),
          .correlation = -mixed / std::sqrt(of_shape * of_scale),
          .log_likelihood = n * std::log(shape / scale) + (shape - 1.0) * sum_y - n};
}

}  // namespace windwright::site
