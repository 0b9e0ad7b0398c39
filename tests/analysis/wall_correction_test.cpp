// SPDX-License-Identifier: Apache-2.0
#include "analysis/wall_correction.h"

#include "analysis/points.h"
#include "analysis/results.h"
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/rotor_file.h"
#include "metrology/estimate.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double air_speed_m_s = 9.0;
constexpr double density_kg_m3 = 1.2;

const physics::Rotor& rotor() {
  static const physics::Rotor read =
      bench::rotor_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/rotor.toml");
  return read;
}

double section_m2(double blockage) {
  return physics::swept_area_m2(rotor()) / blockage;
}

physics::RotorFlow flow_at(double tip_speed_ratio) {
  // Viscosity as the reduction takes it for a point that states the density alone.
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * air_speed_m_s / rotor().tip_radius_m,
          .density_kg_m3 = density_kg_m3,
          .dynamic_viscosity_Pa_s = 1.79e-5};
}

Point point_with(int number, double tip_speed_ratio, double torque_N_m) {
  Point point;
  point.number = number;
  point.quantities = {
      {"air_speed_m_s",
       Estimate(air_speed_m_s, {{"air_speed_m_s:standard", {0.005 * air_speed_m_s, infinity}}})},
      {"rotor_speed_rad_s", Estimate(flow_at(tip_speed_ratio).rotor_speed_rad_s)},
      {"air_density_kg_m3", Estimate(density_kg_m3)},
      {"torque_N_m", Estimate(torque_N_m)}};
  return point;
}

// What a perfect bench would measure of the demo's rotor in a closed section.
std::vector<Point> points_in_tunnel(double blockage, bool with_thrust) {
  std::vector<Point> points;
  for (int i = 0; i < 9; ++i) {
    const double tip_speed_ratio = 3.0 + 0.4 * i;
    const physics::RotorLoad load =
        physics::rotor_load_in_tunnel(rotor(), flow_at(tip_speed_ratio), section_m2(blockage));
    points.push_back(point_with(i + 1, tip_speed_ratio, load.torque_N_m));
    if (with_thrust) points.back().quantities.emplace("thrust_N", Estimate(load.thrust_N));
  }
  return points;
}

Results reduced(const std::vector<Point>& points, double blockage) {
  return reduce({.points = points, .rotor = rotor(), .section_area_m2 = section_m2(blockage)});
}

bool says(const Results& results, const std::string& part) {
  return std::any_of(
      results.remarks.begin(), results.remarks.end(),
      [&](const std::string& remark) { return remark.find(part) != std::string::npos; });
}

TEST(WallCorrection, GivesBackTheOpenAirRotorWithMeasuredOrPredictedThrust) {
  for (const double blockage : {0.05, 0.129, 0.3}) {
    for (const bool with_thrust : {true, false}) {
      const Results results = reduced(points_in_tunnel(blockage, with_thrust), blockage);
      for (const PointResult& point : results.curves.at(0).points) {
        const CorrectedPoint& corrected = point.corrected.value();
        EXPECT_EQ(corrected.thrust_basis, with_thrust ? "measured" : "theory");
        EXPECT_EQ(corrected.ct.has_value(), with_thrust);
        // The corrected point belongs to the open-air speed, and so to its Reynolds number.
        physics::RotorFlow free = flow_at(corrected.tip_speed_ratio.value());
        free.rotor_speed_rad_s *= corrected.free_air_speed_m_s.value() / free.air_speed_m_s;
        free.air_speed_m_s = corrected.free_air_speed_m_s.value();
        EXPECT_NEAR(corrected.cp_shaft->value() / physics::rotor_load(rotor(), free).cp, 1.0, 0.005)
            << "blockage " << blockage << ", point " << point.number;
        EXPECT_GT(point.cp_shaft->value(), corrected.cp_shaft->value());
      }
      EXPECT_EQ(says(results, "takes its thrust from theory"), !with_thrust);
    }
  }
}

TEST(WallCorrection, LeavesRawValuesAsTheyAre) {
  const auto points = points_in_tunnel(0.2, true);
  const Results open_jet = reduce({.points = points, .rotor = rotor()});
  const Results closed = reduced(points, 0.2);
  const Curve& a = open_jet.curves.at(0);
  const Curve& b = closed.curves.at(0);
  EXPECT_EQ(a.maximum_cp.value(), b.maximum_cp.value());
  EXPECT_EQ(a.maximum_cp.u(), b.maximum_cp.u());
  for (std::size_t i = 0; i < a.points.size(); ++i) {
    EXPECT_EQ(a.points[i].cp_shaft->value(), b.points[i].cp_shaft->value());
    EXPECT_EQ(a.points[i].tip_speed_ratio.value(), b.points[i].tip_speed_ratio.value());
  }
}

TEST(WallCorrection, ItsOwnUncertaintyIsANamedPartOfEveryCorrectedValue) {
  const Results results = reduced(points_in_tunnel(0.129, false), 0.129);
  const CorrectedPoint& corrected = results.curves.at(0).points.at(4).corrected.value();
  ASSERT_FALSE(corrected.held);
  const double ratio = corrected.speed_ratio.value();
  const double u = corrected.speed_ratio.contributions().at("tunnel:wall-correction").u;
  EXPECT_NEAR(u, 0.25 * (ratio - 1.0), 1e-12);
  const auto& of_cp = corrected.cp_shaft->contributions();
  const double cp = corrected.cp_shaft->value();
  EXPECT_NEAR(of_cp.at("tunnel:wall-correction").u, -3.0 * cp / ratio * u, 1e-12);
  EXPECT_NEAR(of_cp.at("air_speed_m_s:standard").u, -3.0 * cp * 0.005, 1e-9);
  EXPECT_LT(of_cp.at("tunnel:theory-thrust").u, 0.0) << "more thrust, more correction, less cp";
  EXPECT_TRUE(std::any_of(results.corrected_budget.begin(), results.corrected_budget.end(),
                          [](const auto& line) { return line.input == "tunnel:wall-correction"; }));
  EXPECT_TRUE(std::none_of(results.budget.begin(), results.budget.end(), [](const auto& line) {
    return line.input.starts_with("tunnel:");
  })) << "raw values do not hang on it";
}

TEST(WallCorrection, WhatIsNotStatedStaysSo) {
  auto points = points_in_tunnel(0.129, true);
  for (Point& point : points) {
    for (auto& [name, estimate] : point.quantities)
      estimate = Estimate(estimate.value());
  }
  const Results results = reduced(points, 0.129);
  const auto json = to_json(results);
  EXPECT_TRUE(json.at("points").at(0).at("corrected").at("cp_shaft").at("u").is_null());
  EXPECT_GT(json.at("points").at(0).at("corrected").at("speed_ratio").at("u").as_double(), 0.0);
}

TEST(WallCorrection, FindsTheMaximumOfTheCorrectedCurveAndItsTheory) {
  const Results results = reduced(points_in_tunnel(0.2, true), 0.2);
  const Curve& raw = results.curves.at(0);
  const Curve& open_air = results.open_air_curves.at(0);
  ASSERT_TRUE(raw.optimum_tip_speed_ratio && open_air.optimum_tip_speed_ratio);
  EXPECT_LT(open_air.maximum_cp.value(), raw.maximum_cp.value());
  EXPECT_LT(open_air.optimum_tip_speed_ratio->value(), raw.optimum_tip_speed_ratio->value());
  const TheoryPoint& in_tunnel = raw.theory.at(30);
  const TheoryPoint& in_open_air = open_air.theory.at(30);
  EXPECT_NEAR(
      in_tunnel.cp_shaft,
      physics::rotor_load_in_tunnel(rotor(), flow_at(in_tunnel.tip_speed_ratio), section_m2(0.2))
          .cp,
      1e-3);
  EXPECT_NEAR(in_open_air.cp_shaft,
              physics::rotor_load(rotor(), flow_at(in_open_air.tip_speed_ratio)).cp, 5e-3)
      << "at the mean of the open-air speeds, so at nearly the same Reynolds number";
  const auto json = to_json(results);
  EXPECT_NEAR(json.at("section").at("blockage").as_double(), 0.2, 1e-12);
  EXPECT_EQ(json.at("curves").at(0).at("corrected").at("maximum_cp").at("value").as_double(),
            open_air.maximum_cp.value());
  const std::string csv = curves_csv(results);
  EXPECT_NE(csv.find(",corrected_cp_shaft,u_corrected_cp_shaft,"), std::string::npos);
}

TEST(WallCorrection, OpenJetSaysSoOnceAndCorrectsNothing) {
  const auto points = points_in_tunnel(0.2, true);
  const bench::Bench bench =
      bench::bench_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/bench.toml");
  const Results results = reduce({.points = points, .rotor = rotor(), .bench = &bench});
  EXPECT_EQ(
      std::count(results.remarks.begin(), results.remarks.end(), "Open jet: no wall correction."),
      1);
  EXPECT_FALSE(results.section);
  EXPECT_TRUE(results.open_air_curves.empty());
  EXPECT_FALSE(to_json(results).at("points").at(0).as_object().contains("corrected"));
  bench::Bench closed = bench;
  closed.tunnel.section_area_m2 = section_m2(0.2);
  EXPECT_NEAR(reduce({.points = points, .rotor = rotor(), .bench = &closed}).section->blockage, 0.2,
              1e-12);
}

// One point with a given shaft cp, in a section of 12.9 % blockage or an open jet.
Results with_cp(double cp, bool closed) {
  const double power_W =
      cp * 0.5 * density_kg_m3 * physics::swept_area_m2(rotor()) * std::pow(air_speed_m_s, 3);
  Point point = point_with(7, 5.0, power_W / flow_at(5.0).rotor_speed_rad_s);
  if (closed) return reduced({point}, 0.129);
  return reduce({.points = {point}, .rotor = rotor()});
}

TEST(WallCorrection, ExplainsAPowerCoefficientAbove16Over27) {
  EXPECT_TRUE(says(with_cp(0.65, true), "is no mistake here"));
  EXPECT_TRUE(says(with_cp(0.65, true), "theory allows up to 0.781 at this blockage"));
  EXPECT_FALSE(says(with_cp(0.55, true), "16/27 = 0.593"));
  const Results impossible = with_cp(0.85, true);
  EXPECT_FALSE(says(impossible, "is no mistake here"));
  EXPECT_TRUE(says(impossible, "something is wrong. Check the air speed first"));
  EXPECT_TRUE(says(impossible, "area of the section: point 7."));
  // 1.5 % from the air speed, so that 0.79 is 2.9 % of its expanded uncertainty from the limit.
  EXPECT_TRUE(says(with_cp(0.79, true), "by less than its uncertainty: point 7."));
  const Results open = with_cp(0.65, false);
  EXPECT_TRUE(says(open, "the most that an open stream can yield: something is wrong"));
  EXPECT_TRUE(says(open, "if the section is closed, state its area: point 7."));
}

TEST(WallCorrection, HoldsBeyondItsTheoryAndSaysWhichPoints) {
  auto points = points_in_tunnel(0.1, true);
  points[2].quantities.at("thrust_N") = 3.0 * points[2].quantities.at("thrust_N");
  const Results results = reduced(points, 0.1);
  EXPECT_TRUE(says(results, "corrected by the most that it supports: point 3."));
  for (const PointResult& point : results.curves.at(0).points) {
    EXPECT_EQ(point.corrected->held, point.number == 3);
    EXPECT_TRUE(std::isfinite(point.corrected->cp_shaft->value()));
  }
}

TEST(WallCorrection, RefusesASectionThatTheRotorDoesNotFitInto) {
  try {
    reduce({.points = points_in_tunnel(0.1, true), .rotor = rotor(), .section_area_m2 = 0.25});
    FAIL() << "accepted";
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()),
              "tunnel area: 0.25 m2 do not hold the rotor's 0.2827 m2: the clear cross-section "
              "of the tunnel at the rotor");
  }
}

// 1 + 3 TI^2 where the cube itself was not measured; where it was, it holds its turbulence already.
TEST(Turbulence, StatedIntensityEntersTheWindPowerOnce) {
  Point point = point_with(1, 5.0, 1.0);
  const auto wind_W = [&] {
    return reduce({.points = {point}, .rotor = rotor()}).curves.at(0).points.at(0).wind_power_W;
  };
  const double of_mean_W = wind_W().value();
  point.quantities.emplace("turbulence_intensity_pct",
                           Estimate(10.0, {{"turbulence:stated", {2.0, infinity}}}));
  EXPECT_NEAR(wind_W().value() / of_mean_W, 1.03, 1e-12);
  EXPECT_NEAR(wind_W().contributions().at("turbulence:stated").u / of_mean_W, 6.0 * 0.1 * 0.02,
              1e-9);
  point.quantities.emplace("air_speed_cubed_m3_s3", Estimate(1.01 * std::pow(air_speed_m_s, 3)));
  EXPECT_NEAR(wind_W().value() / of_mean_W, 1.01, 1e-12);
}

}  // namespace
}  // namespace windwright::analysis
