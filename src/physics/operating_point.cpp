// SPDX-License-Identifier: Apache-2.0
#include "physics/operating_point.h"

#include "physics/start_up.h"

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
  const TorqueBalances found = torque_balances(
      {.rotor = rotor, .generator = generator, .inertia_kg_m2 = 1.0}, flow, load_resistance_ohm);
  if (found.balances.empty() || found.speeds_up_at_end) return std::nullopt;
  return found.balances.back().rotor_speed_rad_s;
}

}  // namespace windwright::physics
