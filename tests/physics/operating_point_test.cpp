// SPDX-License-Identifier: Apache-2.0
#include "physics/operating_point.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <memory>
#include <numbers>
#include <optional>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double open_circuit = std::numeric_limits<double>::infinity();

double rad(double deg) {
  return deg * std::numbers::pi / 180.0;
}

/// Lift 2 pi sin a up to 10 degrees, then stall.
Rotor plain_rotor() {
  std::vector<PolarRow> rows;
  for (int deg = -10; deg <= 10; deg += 2) {
    const double alpha_rad = rad(deg);
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = alpha_rad,
                    .cl = 2.0 * std::numbers::pi * std::sin(alpha_rad),
                    .cd = 0.02 + 0.5 * alpha_rad * alpha_rad});
  }
  rows.push_back({.reynolds = 1e5, .alpha_rad = rad(15), .cl = 0.8, .cd = 0.2});
  const auto polar = std::make_shared<const Polar>(rows);
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = rad(3),
          .stations = {{.radius_m = 0.05, .chord_m = 0.05, .twist_rad = rad(22), .polar = polar},
                       {.radius_m = 0.15, .chord_m = 0.045, .twist_rad = rad(7), .polar = polar},
                       {.radius_m = 0.3, .chord_m = 0.03, .twist_rad = rad(0), .polar = polar}}};
}

Generator bench_generator() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.5e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.006,
          .bearing_viscous_N_m_s = 1e-5,
          .iron_hysteresis_J = 2.5e-4,
          .iron_eddy_J_s = 1.5e-6,
          .cogging_torque_N_m = 0.015};
}

RotorFlow flow_at(double tip_speed_ratio, double air_speed_m_s = 9.0) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * air_speed_m_s / 0.3,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.82e-5};
}

TEST(OperatingPoint, GeneratorTakesUpTheTorqueOfTheRotor) {
  for (const double tip_speed_ratio : {4.0, 5.0, 6.0, 7.0}) {
    const auto point = operating_point(plain_rotor(), bench_generator(), flow_at(tip_speed_ratio));
    ASSERT_TRUE(point.has_value()) << tip_speed_ratio;
    EXPECT_NEAR(point->generator.shaft_torque_N_m, point->rotor.torque_N_m,
                1e-10 * point->rotor.torque_N_m);
    EXPECT_NEAR(point->generator.dc_voltage_V,
                point->load_resistance_ohm * point->generator.dc_current_A, 1e-10);
    EXPECT_LT(point->generator.dc_power_W, point->rotor.power_W);
    EXPECT_GT(point->generator.dc_power_W, 0.0);
  }
}

TEST(OperatingPoint, IsNothingWhereTheDragExceedsTheTorqueOfTheRotor) {
  // At its run-away tip-speed ratio the rotor gives no torque at all.
  EXPECT_FALSE(operating_point(plain_rotor(), bench_generator(), flow_at(14.0)));
  EXPECT_FALSE(operating_point(plain_rotor(), bench_generator(), flow_at(0.0)));
}

TEST(OperatingPoint, IsNothingWhereEvenAShortCircuitTakesUpLess) {
  Generator weak = bench_generator();
  weak.flux_linkage_V_s = 0.001;
  EXPECT_FALSE(operating_point(plain_rotor(), weak, flow_at(5.0)));
}

TEST(SteadyRotorSpeed, IsTheBalanceThatTheOperatingPointNames) {
  const Rotor rotor = plain_rotor();
  for (const double tip_speed_ratio : {5.0, 6.0, 7.0}) {
    const RotorFlow flow = flow_at(tip_speed_ratio);
    const auto point = operating_point(rotor, bench_generator(), flow);
    ASSERT_TRUE(point.has_value());
    const auto speed_rad_s =
        steady_rotor_speed_rad_s(rotor, bench_generator(), flow, point->load_resistance_ohm);
    ASSERT_TRUE(speed_rad_s.has_value());
    EXPECT_NEAR(*speed_rad_s, flow.rotor_speed_rad_s, 1e-8 * flow.rotor_speed_rad_s);
  }
}

TEST(SteadyRotorSpeed, IsStableAndRisesWithTheResistance) {
  const Rotor rotor = plain_rotor();
  const Generator generator = bench_generator();
  double before_rad_s = 0.0;
  for (const double resistance_ohm : {10.0, 20.0, 40.0, 100.0, open_circuit}) {
    const auto speed_rad_s =
        steady_rotor_speed_rad_s(rotor, generator, flow_at(0.0), resistance_ohm);
    ASSERT_TRUE(speed_rad_s.has_value()) << resistance_ohm;
    EXPECT_GT(*speed_rad_s, before_rad_s);
    before_rad_s = *speed_rad_s;
    for (const double part : {0.99, 1.01}) {
      RotorFlow flow = flow_at(0.0);
      flow.rotor_speed_rad_s = part * *speed_rad_s;
      const double excess_N_m =
          rotor_load(rotor, flow).torque_N_m -
          generator_load(generator, flow.rotor_speed_rad_s, resistance_ohm).shaft_torque_N_m;
      EXPECT_EQ(excess_N_m > 0.0, part < 1.0) << resistance_ohm;
    }
  }
}

TEST(SteadyRotorSpeed, IsNothingInStillAirOrWithADragNoRotorOvercomes) {
  EXPECT_FALSE(steady_rotor_speed_rad_s(plain_rotor(), bench_generator(), flow_at(0.0, 0.0), 10.0));
  Generator stuck = bench_generator();
  stuck.bearing_torque_N_m = 10.0;
  EXPECT_FALSE(steady_rotor_speed_rad_s(plain_rotor(), stuck, flow_at(0.0), 10.0));
}

}  // namespace
}  // namespace windwright::physics
