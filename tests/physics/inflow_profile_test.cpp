// SPDX-License-Identifier: Apache-2.0
#include "physics/inflow_profile.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

TEST(InflowProfile, AnEvenProfileAddsNothing) {
  const DiscInflow inflow = disc_inflow(
      {.radius_m = {0.05, 0.4}, .speed_ratio = {0.97, 0.97}, .u_speed_ratio = 0.01}, 0.3);
  EXPECT_NEAR(inflow.speed_ratio, 0.97, 1e-14);
  EXPECT_NEAR(inflow.cube_factor, 1.0, 1e-14);
  EXPECT_EQ(inflow.u_speed_ratio, 0.01);
  EXPECT_NEAR(inflow.u_cube_factor, 0.0, 1e-9) << "there is nothing to first order";
}

// q = 1 - c r / R from the axis to the tip: mean 1 - 2c/3, mean cube 1 - 2c + 3c^2/2 - 2c^3/5, by
// hand.
TEST(InflowProfile, ALinearProfileGivesItsIntegrals) {
  constexpr double c = 0.2;
  const DiscInflow inflow = disc_inflow({.radius_m = {0.0, 0.1, 0.3},
                                         .speed_ratio = {1.0, 1.0 - c / 3.0, 1.0 - c},
                                         .u_speed_ratio = 0.0},
                                        0.3);
  const double mean = 1.0 - 2.0 * c / 3.0;
  const double cube = 1.0 - 2.0 * c + 1.5 * c * c - 0.4 * c * c * c;
  EXPECT_NEAR(inflow.speed_ratio, mean, 1e-14);
  EXPECT_NEAR(inflow.cube_factor, cube / (mean * mean * mean), 1e-14);
  EXPECT_GT(inflow.cube_factor, 1.0);
}

TEST(InflowProfile, OnlyWhatLiesInsideTheTipCounts) {
  const InflowProfile jet{.radius_m = {0.0, 0.3, 0.31, 0.4},
                          .speed_ratio = {1.0, 1.0, 0.6, 0.1},
                          .u_speed_ratio = 0.01};
  EXPECT_NEAR(disc_inflow(jet, 0.3).speed_ratio, 1.0, 1e-14);
  EXPECT_LT(disc_inflow(jet, 0.35).speed_ratio, 0.95);
  EXPECT_GT(disc_inflow(jet, 0.35).u_cube_factor, 0.0);
}

TEST(InflowProfile, TurbulenceAddsThreeTimesItsSquare) {
  EXPECT_DOUBLE_EQ(turbulence_cube_factor(0.0), 1.0);
  EXPECT_DOUBLE_EQ(turbulence_cube_factor(0.1), 1.03);
}

TEST(InflowProfile, RefusesATraverseThatEndsInsideTheTip) {
  const InflowProfile shorter{
      .radius_m = {0.0, 0.25}, .speed_ratio = {1.0, 1.0}, .u_speed_ratio = 0.01};
  try {
    disc_inflow(shorter, 0.3);
    FAIL() << "accepted";
  } catch (const base::BadInput& error) {
    EXPECT_EQ(
        std::string(error.what()),
        "profile: ends at 0.25 m, inside the rotor's tip at 0.3 m: a traverse that reaches at "
        "least the tip");
  }
  EXPECT_THROW(
      disc_inflow({.radius_m = {0.1, 0.1}, .speed_ratio = {1, 1}, .u_speed_ratio = 0}, 0.1),
      base::BadInput);
  EXPECT_THROW(
      disc_inflow({.radius_m = {0.0, 0.3}, .speed_ratio = {1, 0}, .u_speed_ratio = 0}, 0.1),
      base::BadInput);
  EXPECT_THROW(disc_inflow({.radius_m = {0.0, 0.3}, .speed_ratio = {1}, .u_speed_ratio = 0}, 0.1),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
