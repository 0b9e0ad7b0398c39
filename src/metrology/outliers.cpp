// SPDX-License-Identifier: Apache-2.0
#include "metrology/outliers.h"

#include "base/errors.h"
#include "metrology/critical_values.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numeric>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr std::size_t fewest = 3;

void require_values(std::span<const double> values) {
  if (values.size() < fewest) {
    throw base::BadInput("test for outliers", fmt::format("has {} values", values.size()),
                         "at least 3: of two nobody can say which is wrong");
  }
  if (!std::all_of(values.begin(), values.end(), [](double each) { return std::isfinite(each); })) {
    throw base::BadInput("test for outliers", "a value is not finite", "finite numbers");
  }
}

// The least step between different values: as fine as the instrument shows them, or infinite where
// it shows one value only.
double resolution_of(std::span<const double> values) {
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < sorted.size(); ++i) {
    if (sorted[i] > sorted[i - 1]) least = std::min(least, sorted[i] - sorted[i - 1]);
  }
  return least;
}

// Signed so that the suspect of the wanted end has the largest.
double distance(double value, double mean, End end) {
  if (end == End::upper) return value - mean;
  if (end == End::lower) return mean - value;
  return std::abs(value - mean);
}

}  // namespace

const char* text_of(Standing standing) {
  switch (standing) {
    case Standing::outlier:
      return "outlier";
    case Standing::straggler:
      return "straggler";
    case Standing::unsuspicious:
      break;
  }
  return "unsuspicious";
}

GrubbsTest grubbs(std::span<const double> values, End end) {
  require_values(values);
  const double mean = signal::mean(values);
  const double deviation = std::sqrt(signal::variance(values));
  const auto farthest = std::max_element(values.begin(), values.end(), [&](double a, double b) {
    return distance(a, mean, end) < distance(b, mean, end);
  });
  const Sides sides = end == End::either ? Sides::two : Sides::one;
  GrubbsTest test{.index = static_cast<std::size_t>(farthest - values.begin()),
                  .value = *farthest,
                  .g = deviation > 0.0 ? distance(*farthest, mean, end) / deviation : 0.0,
                  .critical_5pct = grubbs_critical(values.size(), 0.05, sides),
                  .critical_1pct = grubbs_critical(values.size(), 0.01, sides),
                  .standing = Standing::unsuspicious};
  if (test.g > test.critical_5pct) test.standing = Standing::straggler;
  if (test.g > test.critical_1pct) test.standing = Standing::outlier;
  return test;
}

Suspects suspects(std::span<const double> values, std::size_t at_most) {
  require_values(values);
  std::vector<double> rest(values.begin(), values.end());
  std::vector<std::size_t> places(values.size());
  std::iota(places.begin(), places.end(), 0U);
  // Rosner's percentage points hold from 25 values on; of fewer, one can be named.
  constexpr std::size_t enough_for_several = 25;
  if (values.size() < enough_for_several) at_most = std::min<std::size_t>(at_most, 1);
  const double coarse = 1.5 * resolution_of(values);  // a neighbouring step, wherever the mean lies
  Suspects found;
  while (found.size() < at_most && rest.size() >= fewest) {
    GrubbsTest test = grubbs(rest);
    if (std::abs(test.value - signal::mean(rest)) <= coarse) break;
    const auto at = static_cast<std::ptrdiff_t>(test.index);
    test.index = places[test.index];
    found.push_back(test);
    rest.erase(rest.begin() + at);
    places.erase(places.begin() + at);
  }
  // A step counts as far out as any later one: the earlier suspect lies farther still.
  Standing standing = Standing::unsuspicious;
  for (std::size_t i = found.size(); i-- > 0;) {
    standing = std::max(standing, found[i].standing);
    found[i].standing = standing;
  }
  std::erase_if(found,
                [](const GrubbsTest& each) { return each.standing == Standing::unsuspicious; });
  return found;
}

}  // namespace windwright::metrology
