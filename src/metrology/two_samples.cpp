// SPDX-License-Identifier: Apache-2.0
#include "metrology/two_samples.h"

#include "signal/statistics.h"

#include <boost/math/distributions/students_t.hpp>

#include <cmath>
#include <limits>
#include <span>

namespace windwright::metrology {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

TwoSampleTest test_of(double difference, double variance, double dof, double rounding) {
  if (!(variance > 0.0)) {
    // Nothing scatters: chance explains no difference at all.
    if (std::abs(difference) <= rounding)
      return {.difference = difference, .t = 0.0, .dof = dof, .p = 1.0};
    const double t = std::copysign(std::numeric_limits<double>::infinity(), difference);
    return {.difference = difference, .t = t, .dof = dof, .p = 0.0};
  }
  const double t = difference / std::sqrt(variance);
  const boost::math::students_t distribution(dof);
  return {.difference = difference,
          .t = t,
          .dof = dof,
          .p = 2.0 * boost::math::cdf(boost::math::complement(distribution, std::abs(t)))};
}

// Of two means.
double rounding_of(std::span<const double> a, std::span<const double> b) {
  constexpr double digits = 1e-15;
  return digits * (std::abs(signal::mean(a)) + std::abs(signal::mean(b)));
}

bool is_testable(std::span<const double> a, std::span<const double> b) {
  return a.size() >= 2 && b.size() >= 2 && std::isfinite(signal::mean(a) + signal::mean(b));
}

}  // namespace

TwoSampleTest pooled_test(std::span<const double> a, std::span<const double> b) {
  if (!is_testable(a, b)) return {nan, nan, nan, nan};
  const auto of_a = static_cast<double>(a.size());
  const auto of_b = static_cast<double>(b.size());
  const double dof = of_a + of_b - 2.0;
  const double pooled =
      ((of_a - 1.0) * signal::variance(a) + (of_b - 1.0) * signal::variance(b)) / dof;
  return test_of(signal::mean(a) - signal::mean(b), pooled * (1.0 / of_a + 1.0 / of_b), dof,
                 rounding_of(a, b));
}

TwoSampleTest welch_test(std::span<const double> a, std::span<const double> b) {
  if (!is_testable(a, b)) return {nan, nan, nan, nan};
  const auto of_a = static_cast<double>(a.size());
  const auto of_b = static_cast<double>(b.size());
  const double from_a = signal::variance(a) / of_a;
  const double from_b = signal::variance(b) / of_b;
  const double sum = from_a + from_b;
  const double dof =
      sum > 0.0 ? sum * sum / (from_a * from_a / (of_a - 1.0) + from_b * from_b / (of_b - 1.0))
                : of_a + of_b - 2.0;
  return test_of(signal::mean(a) - signal::mean(b), sum, dof, rounding_of(a, b));
}

}  // namespace windwright::metrology
