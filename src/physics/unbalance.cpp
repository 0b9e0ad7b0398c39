// SPDX-License-Identifier: Apache-2.0
#include "physics/unbalance.h"

#include <cmath>
#include <numbers>

namespace windwright::physics {

double unbalance_acceleration_m_s2(const TowerMode& mode, double unbalance_kg, double radius_m,
                                   double rotor_speed_rad_s) {
  const double natural_rad_s = 2.0 * std::numbers::pi * mode.frequency_Hz;
  const double r = rotor_speed_rad_s / natural_rad_s;
  const double driving_m_s2 =
      unbalance_kg * radius_m / mode.mass_kg * rotor_speed_rad_s * rotor_speed_rad_s;
  return driving_m_s2 * r * r / std::hypot(1.0 - r * r, 2.0 * mode.damping * r) /
         std::numbers::sqrt2;
}

}  // namespace windwright::physics
