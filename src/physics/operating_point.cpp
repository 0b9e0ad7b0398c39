// SPDX-License-Identifier: Apache-2.0
#include "physics/operating_point.h"

#include <boost/math/tools/toms748_solve.hpp>

#include <cstdint>
#include <optional>

namespace windwright::physics {

std::optional<OperatingPoint> operating_point(const Rotor& rotor, const Generator& generator,
                                              const RotorFlow& flow) {
  const RotorLoad load = rotor_load(rotor, flow);
  const std::optional<double> resistance_ohm =
      balancing_resistance_ohm(generator, flow.rotor_speed_rad_s, load.torque_N_m);
  if (!resistance_ohm) return std::nullopt;
  return OperatingPoint{
      .rotor = load,
      .generator = generator_load(generator, flow.rotor_speed_rad_s, *resistance_ohm),
      .load_resistance_ohm = *resistance_ohm};
}

std::optional<double> steady_rotor_speed_rad_s(const Rotor& rotor, const Generator& generator,
                                               const RotorFlow& flow, double load_resistance_ohm) {
  constexpr double highest_tip_speed_ratio = 20.0;
  constexpr int steps = 80;
  const auto driving_N_m = [&](double rotor_speed_rad_s) {
    RotorFlow at = flow;
    at.rotor_speed_rad_s = rotor_speed_rad_s;
    return rotor_load(rotor, at).torque_N_m -
           generator_load(generator, rotor_speed_rad_s, load_resistance_ohm).shaft_torque_N_m;
  };
  const double step_rad_s =
      highest_tip_speed_ratio / steps * flow.air_speed_m_s / rotor.tip_radius_m;
  double above_rad_s = steps * step_rad_s;
  double above_N_m = driving_N_m(above_rad_s);
  if (above_N_m > 0.0) return std::nullopt;
  for (int step = steps - 1; step > 0; --step) {
    const double below_rad_s = step * step_rad_s;
    const double below_N_m = driving_N_m(below_rad_s);
    if (below_N_m > 0.0) {
      std::uintmax_t tries = 100;
      const auto [low, high] = boost::math::tools::toms748_solve(
          driving_N_m, below_rad_s, above_rad_s, below_N_m, above_N_m,
          boost::math::tools::eps_tolerance<double>(40), tries);
      return 0.5 * (low + high);
    }
    above_rad_s = below_rad_s;
    above_N_m = below_N_m;
  }
  return std::nullopt;
}

}  // namespace windwright::physics
