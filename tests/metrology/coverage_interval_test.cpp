// SPDX-License-Identifier: Apache-2.0
#include "metrology/coverage_interval.h"

#include "base/random.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

// JCGM 101:2008, 7.7, word for word, from all trials in order.
CoverageIntervals by_sorting(std::vector<double> y, double level) {
  std::sort(y.begin(), y.end());
  const auto m = static_cast<double>(y.size());
  const double p = level * m;
  const auto q = static_cast<std::size_t>(std::abs(p - std::round(p)) < 1e-9 ? std::round(p)
                                                                             : std::floor(p + 0.5));
  const std::size_t rest = y.size() - q;
  const std::size_t r = rest % 2 == 0 ? rest / 2 : (rest + 1) / 2;
  CoverageIntervals result{{y[r - 1], y[r + q - 1]}, {y[0], y[q]}, 0.0, 0.0};
  for (std::size_t k = 1; k + q <= y.size(); ++k) {
    if (y[k + q - 1] - y[k - 1] < result.shortest.high - result.shortest.low)
      result.shortest = {y[k - 1], y[k + q - 1]};
  }
  return result;
}

std::vector<double> trials(const std::string& shape, std::size_t count) {
  const base::RandomStream random(11, shape);
  std::vector<double> values;
  for (std::size_t n = 0; n < count; ++n) {
    const double z = random.normal(n);
    values.push_back(shape == "normal"   ? 5.0 + z
                     : shape == "skewed" ? z * z
                     : shape == "heavy"  ? std::tan(3.1 * (random.uniform(n) - 0.5))
                     : shape == "steps"  ? std::floor(3.0 * z)
                     : shape == "rising" ? static_cast<double>(n)
                                         : 7.0);
  }
  return values;
}

TEST(CoverageIntervals, AreExactlyThoseOfTheWholeSortedSample) {
  for (const char* shape : {"normal", "skewed", "heavy", "steps", "rising", "equal"}) {
    for (const std::size_t count : {100U, 101U, 137U, 999U, 10'000U, 32'769U, 70'003U}) {
      for (const double level : {0.5, 0.95, 0.99}) {
        SCOPED_TRACE(std::string(shape) + " " + std::to_string(count));
        const std::vector<double> y = trials(shape, count);
        const CoverageIntervals got = coverage_intervals(y, level);
        const CoverageIntervals expected = by_sorting(y, level);
        EXPECT_EQ(got.symmetric.low, expected.symmetric.low);
        EXPECT_EQ(got.symmetric.high, expected.symmetric.high);
        EXPECT_EQ(got.shortest.high - got.shortest.low,
                  expected.shortest.high - expected.shortest.low);
      }
    }
  }
}

TEST(CoverageIntervals, TellHowFarTheirEndsMayBeOff) {
  // 400 samples of 5000: the ends scatter as told. Normal, 97.5 % point 1.96.
  const std::vector<double> all = trials("normal", 400U * 5000U);
  double squares = 0.0;
  double told = 0.0;
  for (std::size_t k = 0; k < 400; ++k) {
    const CoverageIntervals got = coverage_intervals(std::span(all).subspan(k * 5000, 5000), 0.95);
    squares += std::pow(got.symmetric.high - 5.0 - 1.959964, 2) / 400.0;
    told += got.high_standard_error / 400.0;
  }
  EXPECT_NEAR(told / std::sqrt(squares), 1.0, 0.12);
}

TEST(TrialMoments, KeepTheirDigitsFarFromZero) {
  std::vector<double> y = trials("normal", 10'001);
  const TrialMoments near = moments_of(y);
  for (double& value : y)
    value += 1e8;
  const TrialMoments far = moments_of(y);
  EXPECT_NEAR(far.mean - 1e8, near.mean, 1e-7);
  EXPECT_NEAR(far.standard_deviation / near.standard_deviation, 1.0, 1e-7);
}

}  // namespace
}  // namespace windwright::metrology
