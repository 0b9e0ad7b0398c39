// SPDX-License-Identifier: Apache-2.0
#include "metrology/agreement.h"

#include "base/errors.h"
#include "metrology/check_standard.h"
#include "metrology/student.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <random>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

Estimate result(double value, const std::map<std::string, double>& parts) {
  Estimate estimate(value);
  for (const auto& [input, u] : parts)
    estimate.add(input, {.u = u, .dof = INFINITY});
  return estimate;
}

TEST(Agreement, OfIndependentResultsIsThatOfTheStandard) {
  const Agreement got = agreement(result(10.3, {{"a", 0.1}}), result(10.0, {{"b", 0.2}}));
  EXPECT_NEAR(got.zeta, 0.3 / std::sqrt(0.05), 1e-12);
  const double k = student_factor(0.95, INFINITY);
  EXPECT_NEAR(got.en, en(0.3, k * 0.1, k * 0.2), 1e-12);
}

TEST(Agreement, CommonErrorDropsOut) {
  const Agreement got =
      agreement(result(10.3, {{"s", 0.5}, {"a", 0.1}}), result(10.0, {{"s", 0.5}, {"b", 0.1}}));
  EXPECT_NEAR(got.difference.u(), std::sqrt(0.02), 1e-12);
  EXPECT_GT(std::abs(got.zeta), 2.0);
}

TEST(Agreement, WithoutUncertaintySaysNothing) {
  EXPECT_TRUE(std::isnan(agreement(Estimate(1.0), Estimate(2.0)).en));
  EXPECT_EQ(agreement(Estimate(1.0), Estimate(1.0)).zeta, 0.0);
}

TEST(WeightedMean, CommonErrorStaysInTheMeanAndOutOfTheScatter) {
  const std::vector<Estimate> alone{result(1.0, {{"a", 0.1}}), result(1.2, {{"b", 0.2}})};
  const std::vector<Estimate> common{result(1.0, {{"s", 0.5}, {"a", 0.1}}),
                                     result(1.2, {{"s", 0.5}, {"b", 0.2}})};
  const WeightedMean without = weighted_mean(alone);
  const WeightedMean with = weighted_mean(common);
  EXPECT_NEAR(with.mean.value(), without.mean.value(), 1e-9);
  EXPECT_NEAR(with.mean.u(), std::hypot(without.mean.u(), 0.5), 1e-9);
  EXPECT_NEAR(with.chi_squared, without.chi_squared, 1e-9);
}

TEST(WeightedMean, UsesTheScaleOfNothing) {
  const std::vector<Estimate> small{result(1e-9, {{"a", 1e-10}}), result(1.2e-9, {{"b", 2e-10}})};
  EXPECT_NEAR(weighted_mean(small).mean.value(), 1.04e-9, 1e-20);
}

// Of consistent results about 5 % come out as not consistent, and the interval holds the truth.
TEST(WeightedMean, IsHonest) {
  std::mt19937 generator(2026);
  std::normal_distribution<double> normal;
  int consistent = 0;
  int covered = 0;
  constexpr int trials = 10000;
  for (int trial = 0; trial < trials; ++trial) {
    const double common = 0.3 * normal(generator);
    std::vector<Estimate> results;
    for (int i = 0; i < 6; ++i) {
      const double u = 0.1 + 0.05 * i;
      results.push_back(
          result(5.0 + common + u * normal(generator), {{"s", 0.3}, {std::to_string(i) + "#", u}}));
    }
    const WeightedMean mean = weighted_mean(results);
    if (mean.consistent) ++consistent;
    if (std::abs(mean.mean.value() - 5.0) < mean.mean.expanded()) ++covered;
  }
  EXPECT_NEAR(consistent, 0.95 * trials, 0.01 * trials);
  EXPECT_NEAR(covered, 0.95 * trials, 0.01 * trials);
}

TEST(WeightedMean, RefusesWhatHasNoWeight) {
  EXPECT_THROW(weighted_mean(std::vector{result(1.0, {{"a", 0.1}})}), base::BadInput);
  EXPECT_THROW(weighted_mean(std::vector{result(1.0, {{"a", 0.1}}), Estimate(1.0)}),
               base::BadInput);
  EXPECT_THROW(weighted_mean(std::vector{result(1.0, {{"s", 0.1}}), result(2.0, {{"s", 0.1}})}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::metrology
