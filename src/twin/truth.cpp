// SPDX-License-Identifier: Apache-2.0
#include "twin/truth.h"

#include "base/errors.h"
#include "base/random.h"

#include <algorithm>
#include <cstdint>
#include <numbers>
#include <string_view>

namespace windwright::twin {

namespace {

double normal(const bench::Bench& bench, std::string_view stream, std::uint64_t n = 0) {
  return base::RandomStream(bench.simulation->seed, stream).normal(n);
}

// Far out in the tail of a wide spread a loss would turn negative; a machine never does.
double loss_factor(const bench::Bench& bench, std::string_view stream) {
  constexpr double least = 0.05;
  return std::max(least, 1.0 + bench.simulation->u_loss_relative * normal(bench, stream));
}

physics::Rotor scaled(physics::Rotor rotor, double factor) {
  rotor.hub_radius_m *= factor;
  rotor.tip_radius_m *= factor;
  for (physics::RotorStation& station : rotor.stations) {
    station.radius_m *= factor;
    station.chord_m *= factor;
  }
  return rotor;
}

}  // namespace

Truth truth_of(const bench::Bench& bench) {
  if (!bench.simulation) {
    throw base::BadInput(bench.file.string(), "the bench has no [simulation]",
                         "a table [simulation], so that it can be simulated");
  }
  Truth truth{.rotor = bench.rotor,
              .generator = bench.generator,
              .position_factor = bench.position_factor +
                                 bench.u_position_factor * normal(bench, "position factor")};
  const double radius_m =
      bench.rotor.tip_radius_m + bench.u_tip_radius_m * normal(bench, "tip radius");
  truth.rotor = scaled(truth.rotor, radius_m / bench.rotor.tip_radius_m);
  physics::Generator& generator = truth.generator;
  const double bearing = loss_factor(bench, "bearing loss");
  generator.bearing_torque_N_m *= bearing;
  generator.bearing_viscous_N_m_s *= bearing;
  const double iron = loss_factor(bench, "iron loss");
  generator.iron_hysteresis_J *= iron;
  generator.iron_eddy_J_s *= iron;
  generator.winding_resistance_ohm *= loss_factor(bench, "winding loss");
  const double rectifier = loss_factor(bench, "rectifier loss");
  generator.diode_drop_V *= rectifier;
  generator.diode_resistance_ohm *= rectifier;
  return truth;
}

double pitch_as_set_rad(const bench::Bench& bench, double pitch_rad, std::int64_t mounting) {
  double u_setting_deg = 0.0;
  for (const bench::Actuator& actuator : bench.actuators) {
    if (actuator.name == "pitch_deg") u_setting_deg = actuator.u_setting;
  }
  constexpr double rad_per_deg = std::numbers::pi / 180.0;
  return pitch_rad + u_setting_deg * rad_per_deg *
                         normal(bench, "pitch setting", static_cast<std::uint64_t>(mounting));
}

}  // namespace windwright::twin
