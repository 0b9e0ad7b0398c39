// SPDX-License-Identifier: Apache-2.0
#include "physics/polar.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

std::vector<PolarRow> rows_at(double reynolds, double lift_factor, double drag) {
  std::vector<PolarRow> rows;
  for (int alpha_deg = -10; alpha_deg <= 15; alpha_deg += 5) {
    rows.push_back({.reynolds = reynolds,
                    .alpha_rad = alpha_deg * degree,
                    .cl = lift_factor * 0.1 * alpha_deg,
                    .cd = drag + 1e-4 * alpha_deg * alpha_deg});
  }
  return rows;
}

std::vector<PolarRow> two_tables() {
  auto rows = rows_at(2e5, 1.0, 0.01);
  const auto low = rows_at(5e4, 0.5, 0.03);
  rows.insert(rows.end(), low.begin(), low.end());
  std::reverse(rows.begin(), rows.end());  // the order must not matter
  return rows;
}

TEST(Polar, GivesItsRowsAndLinesBetweenThem) {
  const Polar polar(two_tables());
  EXPECT_EQ(polar.lowest_reynolds(), 5e4);
  EXPECT_EQ(polar.highest_reynolds(), 2e5);
  EXPECT_NEAR(polar.at(5.0 * degree, 2e5).cl, 0.5, 1e-14);
  EXPECT_NEAR(polar.at(5.0 * degree, 2e5).cd, 0.01 + 25e-4, 1e-14);
  EXPECT_NEAR(polar.at(6.3 * degree, 2e5).cl, 0.63, 1e-14);
  EXPECT_NEAR(polar.at(7.5 * degree, 5e4).cd, 0.03 + 0.5e-4 * (25.0 + 100.0), 1e-14);
}

TEST(Polar, BlendsInTheLogarithmOfTheReynoldsNumber) {
  const Polar polar(two_tables());
  // 1e5 lies half-way between 5e4 and 2e5 on a logarithmic scale.
  EXPECT_NEAR(polar.at(10.0 * degree, 1e5).cl, 0.75, 1e-14);
  EXPECT_NEAR(polar.at(0.0, 1e5).cd, 0.02, 1e-14);
}

TEST(Polar, HoldsTheNearestTableOutsideItsReynoldsNumbers) {
  const Polar polar(two_tables());
  EXPECT_EQ(polar.at(0.1, 1.0).cl, polar.at(0.1, 5e4).cl);
  EXPECT_EQ(polar.at(0.1, 0.0).cd, polar.at(0.1, 5e4).cd);
  EXPECT_EQ(polar.at(0.1, 1e9).cl, polar.at(0.1, 2e5).cl);
}

TEST(Polar, TakesNearlyEqualReynoldsNumbersAsOneTable) {
  auto rows = rows_at(1.00e5, 1.0, 0.01);
  const auto again = rows_at(1.02e5, 0.8, 0.03);
  rows.insert(rows.end(), again.begin(), again.end());
  const Polar polar(rows);
  ASSERT_EQ(polar.tables().size(), 1U);
  EXPECT_NEAR(polar.lowest_reynolds(), std::sqrt(1.00e5 * 1.02e5), 1e-6);
  EXPECT_NEAR(polar.at(10.0 * degree, 1e5).cl, 0.9, 1e-14);  // the same angle twice: the mean
}

TEST(Polar, IsContinuousAllTheWayRoundWithPositiveDrag) {
  for (const double aspect_ratio : {3.0, 10.0, 100.0}) {
    const Polar polar(two_tables(), aspect_ratio);
    const double step = 1e-4;
    auto before = polar.at(-pi, 8e4);
    for (int i = 1; i < 73000; ++i) {  // past half a turn: angles are taken round
      const double alpha = -pi + i * step;
      const auto now = polar.at(alpha, 8e4);
      ASSERT_LT(std::abs(now.cl - before.cl), 0.002) << alpha / degree;
      ASSERT_LT(std::abs(now.cd - before.cd), 0.002) << alpha / degree;
      ASSERT_GE(now.cd, 0.01) << alpha / degree;
      before = now;
    }
  }
}

// Viterna and Corrigan (1981): cd_max = 1.11 + 0.018 AR at 90 degrees, 2.01 above AR 50; lift there
// 0.
TEST(Polar, HasOneValueAtPlusAndMinusHalfATurn) {
  std::vector<PolarRow> rows;
  for (int alpha_deg = -180; alpha_deg <= 50; alpha_deg += 5) {
    rows.push_back(
        {.reynolds = 1e5, .alpha_rad = alpha_deg * pi / 180.0, .cl = 0.01 * alpha_deg, .cd = 0.3});
  }
  const Polar polar(rows);
  EXPECT_EQ(polar.at(pi, 1e5).cl, polar.at(-pi, 1e5).cl);
  EXPECT_EQ(polar.at(pi, 1e5).cd, polar.at(-pi, 1e5).cd);
  EXPECT_NEAR(polar.at(pi - 1e-9, 1e5).cl, polar.at(-pi + 1e-9, 1e5).cl, 1e-6);
}

TEST(Polar, EndsInAPlateAcrossTheFlow) {
  EXPECT_NEAR(Polar(two_tables(), 10.0).at(0.5 * pi, 1e5).cd, 1.29, 1e-12);
  EXPECT_NEAR(Polar(two_tables(), 60.0).at(0.5 * pi, 1e5).cd, 2.01, 1e-12);
  EXPECT_NEAR(Polar(two_tables(), 10.0).at(0.5 * pi, 1e5).cl, 0.0, 1e-12);
  EXPECT_NEAR(Polar(two_tables(), 10.0).at(-0.5 * pi, 1e5).cd, 1.29, 1e-12);
}

// The same formulas evaluated by hand at 30 degrees from the row at 15 (cl 1.5, cd 0.0325, AR 10).
TEST(Polar, FollowsViternaBetweenItsLastRowAndNinetyDegrees) {
  const Polar polar(rows_at(2e5, 1.0, 0.01), 10.0);
  const double s = 15.0 * degree;
  const double a = 30.0 * degree;
  const double a2 =
      (1.5 - 1.29 * std::sin(s) * std::cos(s)) * std::sin(s) / std::pow(std::cos(s), 2);
  const double b2 = (0.0325 - 1.29 * std::pow(std::sin(s), 2)) / std::cos(s);
  EXPECT_NEAR(polar.at(a, 2e5).cl,
              0.5 * 1.29 * std::sin(2.0 * a) + a2 * std::pow(std::cos(a), 2) / std::sin(a), 1e-12);
  EXPECT_NEAR(polar.at(a, 2e5).cd, 1.29 * std::pow(std::sin(a), 2) + b2 * std::cos(a), 1e-12);
}

TEST(Polar, KeepsATableThatGoesAllTheWayRound) {
  std::vector<PolarRow> rows;
  for (int alpha_deg = -180; alpha_deg <= 180; alpha_deg += 20) {
    rows.push_back({.reynolds = 1e6, .alpha_rad = alpha_deg * degree, .cl = 0.5, .cd = 0.01});
  }
  const Polar polar(rows);
  for (int i = -700; i < 700; ++i) {
    const double alpha = 0.01 * i;
    EXPECT_NEAR(polar.at(alpha, 1e6).cl, 0.5, 1e-12) << alpha;
    EXPECT_NEAR(polar.at(alpha, 1e6).cd, 0.01, 1e-12) << alpha;
  }
}

TEST(Polar, RefusesRowsThatCannotBe) {
  EXPECT_THROW(Polar({}), base::BadInput);
  EXPECT_THROW(Polar({{.reynolds = 1e5, .alpha_rad = 0.0, .cl = 0.0, .cd = -0.1}}), base::BadInput);
  EXPECT_THROW(Polar({{.reynolds = 0.0, .alpha_rad = 0.0, .cl = 0.0, .cd = 0.1}}), base::BadInput);
  EXPECT_THROW(Polar({{.reynolds = 1e5, .alpha_rad = 4.0, .cl = 0.0, .cd = 0.1}}), base::BadInput);
  EXPECT_THROW(Polar({{.reynolds = 1e5, .alpha_rad = 0.0, .cl = NAN, .cd = 0.1}}), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
