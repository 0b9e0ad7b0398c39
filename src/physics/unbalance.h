// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// What carries the rotor, as one mass on a spring with viscous damping: the lowest mode of tower
/// and frame across the axis.
struct TowerMode {
  double mass_kg;       // that moves with the hub, above 0
  double frequency_Hz;  // undamped, above 0
  double damping;       // share of the critical one, above 0
};

/// Acceleration of the hub that a rotor out of balance drives, steady at one speed, as RMS over a
/// turn (a vibration transmitter shows that): with r = omega / omega_n
///   a = (m e / M) omega^2 r^2 / sqrt((1 - r^2)^2 + (2 zeta r)^2) / sqrt(2)
/// where m e is the unbalance. Far below omega_n it grows with the fourth power of the speed,
/// far above with the second. That the mode needs some turns to follow the speed is left out.
/// @param unbalance_kg  m, as a mass at `radius_m` (e) from the axis; not negative
/// @param rotor_speed_rad_s  omega, not negative
/// @return  m s-2, RMS
/// Source: rotating unbalance of a spring-mass-damper: Thomson, Theory of Vibration with
/// Applications, section "Rotating Unbalance" (from memory). Checked against a solution of the
/// equation of motion in tests/physics/unbalance_test.cpp.
double unbalance_acceleration_m_s2(const TowerMode& mode, double unbalance_kg, double radius_m,
                                   double rotor_speed_rad_s);

}  // namespace windwright::physics
