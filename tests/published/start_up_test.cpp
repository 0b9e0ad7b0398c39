// SPDX-License-Identifier: Apache-2.0
#include "physics/start_up.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

/// What an unfriendly world would not have: no drag of its own at all.
Generator frictionless() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.5e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.0,
          .bearing_viscous_N_m_s = 0.0,
          .iron_hysteresis_J = 0.0,
          .iron_eddy_J_s = 0.0,
          .cogging_torque_N_m = 0.0};
}

RotorFlow flow_at(double air_speed_m_s) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = 0.0,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.8e-5};
}

// D. H. Wood, A blade element estimation of the cut-in wind speed of a small turbine, Wind
// Engineering 25 (2001) 125-130, and Small Wind Turbines (Springer 2011), ch. 6 (equations from
// memory): at high angles every aerofoil behaves like a flat plate, cl = 2 sin a cos a, cd = 2
// sin^2 a, so a standing rotor has the torque N rho U^2 times the integral of c r sin(theta)
// cos(theta) dr (the chord-pitch integral), theta from the rotor plane. No induced flow: a narrow
// blade here.
TEST(PublishedStartUp, StandingRotorHasTheTorqueOfTheChordPitchIntegral) {
  std::vector<PolarRow> rows;
  for (int deg = -180; deg <= 180; ++deg) {
    const double a = deg * pi / 180.0;
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = a,
                    .cl = 2.0 * std::sin(a) * std::cos(a),
                    .cd = 2.0 * std::sin(a) * std::sin(a)});
  }
  const auto plate = std::make_shared<const Polar>(rows);
  TurningSet set{.rotor = {.blades = 3,
                           .hub_radius_m = 0.2,
                           .tip_radius_m = 1.0,
                           .pitch_rad = 0.0,
                           .stations = {{0.2, 0.0015, 0.45, plate}, {1.0, 0.0005, 0.08, plate}}},
                 .generator = frictionless(),
                 .inertia_kg_m2 = 1.0};
  double integral_m3 = 0.0;
  constexpr int steps = 2000;
  for (int i = 0; i < steps; ++i) {
    const double s = (i + 0.5) / steps;
    const double theta = 0.45 + s * (0.08 - 0.45);
    const double chord_m = 0.0015 + s * (0.0005 - 0.0015);
    integral_m3 += chord_m * (0.2 + 0.8 * s) * std::sin(theta) * std::cos(theta) * 0.8 / steps;
  }
  for (const double air_m_s : {3.0, 6.0}) {
    const double expected_N_m = 3.0 * 1.2 * air_m_s * air_m_s * integral_m3;
    EXPECT_NEAR(start_up(set, flow_at(air_m_s), 15.0).starting_torque_N_m / expected_N_m, 1.0,
                5e-3);
  }
  // So the cut-in wind against a holding torque H is sqrt(H / (N rho integral)).
  set.generator.cogging_torque_N_m = 0.004;
  EXPECT_NEAR(*cut_in(set, flow_at(20.0), 15.0).starts_m_s,
              std::sqrt(0.004 / (3.0 * 1.2 * integral_m3)), 0.003 * 6.0);
}

// A helical surface turns in a wind so that every part of it moves along itself, as a screw in its
// nut: V = omega r tan(theta) everywhere. Blades without drag on a shaft without friction then have
// no force on them, whatever the induction model. Kinematics; common practice, no source.
TEST(PublishedStartUp, HelicalBladesRunAwayAsAScrewInItsNut) {
  const auto thin = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = -0.15, .cl = -0.9, .cd = 0.0},
                            {.reynolds = 1e5, .alpha_rad = 0.15, .cl = 0.9, .cd = 0.0}});
  for (const double advance_ratio : {2.0, 5.0, 9.0}) {  // tip-speed ratio of the screw
    std::vector<RotorStation> stations;
    for (int i = 0; i <= 80; ++i) {
      const double r = 0.06 + 0.003 * i;
      stations.push_back({r, 0.03, std::atan(0.3 / (advance_ratio * r)), thin});
    }
    const TurningSet set{.rotor = {.blades = 3,
                                   .hub_radius_m = 0.06,
                                   .tip_radius_m = 0.3,
                                   .pitch_rad = 0.0,
                                   .stations = stations},
                         .generator = frictionless(),
                         .inertia_kg_m2 = 1.0};
    const StartUp found = start_up(set, flow_at(8.0), 15.0);
    ASSERT_TRUE(found.runaway_rad_s);
    EXPECT_NEAR(*found.runaway_rad_s * 0.3 / 8.0, advance_ratio, 1e-3 * advance_ratio);
  }
}

}  // namespace
}  // namespace windwright::physics
