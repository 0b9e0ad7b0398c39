// SPDX-License-Identifier: Apache-2.0
#include "metrology/critical_values.h"

#include "metrology/student.h"

#include <boost/math/distributions/fisher_f.hpp>

#include <cmath>
#include <cstddef>
#include <limits>

namespace windwright::metrology {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

bool is_chance(double significance) {
  return significance > 0.0 && significance < 1.0;
}

// Largest share of one of p variances, with the chance that it alone exceeds it.
double largest_share(std::size_t p, std::size_t n, double chance) {
  if (p < 2 || n < 2) return nan;
  const auto others = static_cast<double>(p - 1);
  const auto dof = static_cast<double>(n - 1);
  const boost::math::fisher_f ratio(dof, others * dof);
  const double f = boost::math::quantile(boost::math::complement(ratio, chance));
  return 1.0 / (1.0 + others / f);
}

}  // namespace

double grubbs_critical(std::size_t n, double significance, Sides sides) {
  if (n < 3 || !is_chance(significance)) return nan;
  const auto count = static_cast<double>(n);
  const double both_tails = (sides == Sides::two ? 1.0 : 2.0) * significance / count;
  if (both_tails >= 1.0) return nan;
  const double t = student_factor(1.0 - both_tails, count - 2.0);
  return (count - 1.0) / std::sqrt(count) * std::sqrt(t * t / (count - 2.0 + t * t));
}

double cochran_critical(std::size_t p, std::size_t n, double significance) {
  if (!is_chance(significance)) return nan;
  return largest_share(p, n, significance / static_cast<double>(p));
}

double mandel_h_critical(std::size_t p, double significance) {
  if (p < 3 || !is_chance(significance)) return nan;
  const auto count = static_cast<double>(p);
  const double t = student_factor(1.0 - significance, count - 2.0);
  return (count - 1.0) * t / std::sqrt(count * (t * t + count - 2.0));
}

double mandel_k_critical(std::size_t p, std::size_t n, double significance) {
  if (!is_chance(significance)) return nan;
  return std::sqrt(static_cast<double>(p) * largest_share(p, n, significance));
}

}  // namespace windwright::metrology
