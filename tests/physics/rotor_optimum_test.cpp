// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor_optimum.h"

#include "base/errors.h"
#include "physics/blockage.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double degree = std::numbers::pi / 180.0;

std::shared_ptr<const Polar> smooth_polar() {
  std::vector<PolarRow> rows;
  for (const double reynolds : {2e4, 1e5, 5e5}) {
    for (int alpha_deg = -20; alpha_deg <= 30; ++alpha_deg) {
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = 1.2 * std::tanh(0.1 * (alpha_deg + 3.0) / 1.2),
                      .cd = 0.02 * std::sqrt(1e5 / reynolds) + 2e-4 * alpha_deg * alpha_deg});
    }
  }
  return std::make_shared<const Polar>(rows, 6.0);
}

Rotor bench_rotor() {
  const auto polar = smooth_polar();
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = 2.0 * degree,
          .stations = {{0.05, 0.06, 25.0 * degree, polar},
                       {0.15, 0.05, 8.0 * degree, polar},
                       {0.3, 0.03, 1.0 * degree, polar}}};
}

OperatingLine air_at_8_m_s() {
  return {.flow = {.air_speed_m_s = 8.0,
                   .rotor_speed_rad_s = 0.0,
                   .density_kg_m3 = 1.2,
                   .dynamic_viscosity_Pa_s = 1.8e-5},
          .section_area_m2 = {}};
}

std::vector<double> steps(double first, double step, double last) {
  std::vector<double> values;
  for (int i = 0; first + i * step <= last + 1e-9; ++i)
    values.push_back(first + i * step);
  return values;
}

double cp_at(const Rotor& rotor, double ratio, const OperatingLine& line) {
  RotorFlow flow = line.flow;
  flow.rotor_speed_rad_s = ratio * flow.air_speed_m_s / rotor.tip_radius_m;
  if (!line.section_area_m2) return rotor_load(rotor, flow).cp;
  return rotor_load_in_tunnel(rotor, flow, *line.section_area_m2).cp;
}

TEST(RotorOptimum, NoFinerSweepFindsMore) {
  const Rotor rotor = bench_rotor();
  const auto line = air_at_8_m_s();
  const auto optimum = optimum_over_ratio(rotor, line, steps(1.0, 0.5, 9.0));
  ASSERT_TRUE(optimum);
  double most = 0.0;
  double at = 0.0;
  for (const double ratio : steps(1.0, 0.001, 9.0)) {
    const double cp = cp_at(rotor, ratio, line);
    if (cp > most) {
      most = cp;
      at = ratio;
    }
  }
  EXPECT_NEAR(optimum->load.cp, most, 1e-7);
  EXPECT_GE(optimum->load.cp, most - 1e-9);
  EXPECT_NEAR(optimum->load.tip_speed_ratio, at, 0.01);
}

TEST(RotorOptimum, DoesNotDependOnTheSweepThatShowedIt) {
  const Rotor rotor = bench_rotor();
  const auto coarse = optimum_over_ratio(rotor, air_at_8_m_s(), steps(1.0, 1.3, 9.0));
  const auto fine = optimum_over_ratio(rotor, air_at_8_m_s(), steps(1.0, 0.1, 9.0));
  ASSERT_TRUE(coarse && fine);
  EXPECT_NEAR(coarse->load.cp, fine->load.cp, 1e-8);
  EXPECT_NEAR(*coarse->within_5_percent.from, *fine->within_5_percent.from, 1e-3);
  EXPECT_NEAR(*coarse->within_5_percent.to, *fine->within_5_percent.to, 1e-3);
}

TEST(RotorOptimum, FlatnessEndsWherePowerIsJustThatShare) {
  const Rotor rotor = bench_rotor();
  for (const bool walls : {false, true}) {
    auto line = air_at_8_m_s();
    if (walls) line.section_area_m2 = 1.0;
    const auto optimum = optimum_over_ratio(rotor, line, steps(1.0, 0.5, 11.0));
    ASSERT_TRUE(optimum);
    const auto share = [&](double ratio) { return cp_at(rotor, ratio, line) / optimum->load.cp; };
    EXPECT_NEAR(share(*optimum->within_1_percent.from), 0.99, 1e-5);
    EXPECT_NEAR(share(*optimum->within_1_percent.to), 0.99, 1e-5);
    EXPECT_NEAR(share(*optimum->within_5_percent.from), 0.95, 1e-5);
    EXPECT_NEAR(share(*optimum->within_5_percent.to), 0.95, 1e-5);
    EXPECT_LT(*optimum->within_1_percent.to, *optimum->within_5_percent.to);
    EXPECT_GT(*optimum->within_1_percent.from, *optimum->within_5_percent.from);
  }
}

TEST(RotorOptimum, IsNotGivenWhereTheSweepDoesNotBracketIt) {
  const Rotor rotor = bench_rotor();
  const auto line = air_at_8_m_s();
  const double best = optimum_over_ratio(rotor, line, steps(1.0, 0.5, 9.0))->load.tip_speed_ratio;
  EXPECT_FALSE(optimum_over_ratio(rotor, line, steps(best + 0.2, 0.5, 9.0)));
  EXPECT_FALSE(optimum_over_ratio(rotor, line, steps(1.0, 0.5, best - 0.2)));
  EXPECT_FALSE(optimum_over_ratio(rotor, line, std::vector<double>{best - 1.0, best + 1.0}));
  // Flat to the sweep's end: no made-up end of the range.
  const auto narrow = optimum_over_ratio(rotor, line, steps(best - 0.05, 0.05, best + 0.05));
  ASSERT_TRUE(narrow);
  EXPECT_FALSE(narrow->within_5_percent.from);
  EXPECT_FALSE(narrow->within_5_percent.to);
}

TEST(RotorOptimum, GivesNoneForARotorThatOnlyBrakes) {
  Rotor rotor = bench_rotor();
  rotor.pitch_rad = -60.0 * degree;
  EXPECT_FALSE(optimum_over_ratio(rotor, air_at_8_m_s(), steps(2.0, 0.5, 9.0)));
}

TEST(RotorOptimum, TurnsTheBladesToTheBestPitch) {
  const Rotor rotor = bench_rotor();
  const auto line = air_at_8_m_s();
  const auto ratios = steps(1.0, 0.5, 9.0);
  std::vector<double> pitches_rad;
  for (const double pitch_deg : steps(-6.0, 2.0, 10.0))
    pitches_rad.push_back(pitch_deg * degree);
  const auto optimum = optimum_over_ratio_and_pitch(rotor, line, ratios, pitches_rad);
  ASSERT_TRUE(optimum);
  Rotor turned = rotor;
  double most = 0.0;
  for (const double pitch_deg : steps(-6.0, 0.1, 10.0)) {
    turned.pitch_rad = pitch_deg * degree;
    most = std::max(most, optimum_over_ratio(turned, line, ratios)->load.cp);
  }
  EXPECT_NEAR(optimum->load.cp, most, 1e-5);
  EXPECT_GE(optimum->load.cp, most - 1e-8);
  EXPECT_FALSE(optimum_over_ratio_and_pitch(
      rotor, line, ratios,
      std::vector<double>{optimum->pitch_rad + 0.02, optimum->pitch_rad + 0.05,
                          optimum->pitch_rad + 0.1}));
}

TEST(RotorOptimum, IsFoundOverTheWindAtAHeldRotorSpeedToo) {
  const Rotor rotor = bench_rotor();
  auto line = air_at_8_m_s();
  line.holds_rotor_speed = true;
  line.flow.rotor_speed_rad_s = 120.0;
  const auto optimum = optimum_over_ratio(rotor, line, steps(1.0, 0.5, 9.0));
  ASSERT_TRUE(optimum);
  EXPECT_EQ(optimum->flow.rotor_speed_rad_s, 120.0);
  for (const double air_speed_m_s : steps(3.0, 0.05, 20.0)) {
    RotorFlow flow = optimum->flow;
    flow.air_speed_m_s = air_speed_m_s;
    EXPECT_LE(rotor_load(rotor, flow).cp, optimum->load.cp + 1e-9) << air_speed_m_s;
  }
}

TEST(RotorOptimum, RefusesASweepOutOfOrder) {
  EXPECT_THROW(
      optimum_over_ratio(bench_rotor(), air_at_8_m_s(), std::vector<double>{3.0, 2.0, 5.0}),
      base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
