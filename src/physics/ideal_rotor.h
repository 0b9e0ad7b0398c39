// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// What one radius of the ideal rotor does: infinitely many blades without drag, a wake with swirl,
/// and the largest power that the momentum theorem allows there.
struct IdealElement {
  double inflow_angle_rad;      // phi, from the rotor plane
  double axial_induction;       // a, 1/4 at the axis to 1/3 far out
  double tangential_induction;  // a'
  double loading;               // B c cl lambda / R: what chord and lift it takes
};

/// phi = (2/3) atan(1/x), a = cos phi / (1 + 2 cos phi), a' = (1 - cos phi) / (2 cos phi - 1),
/// loading = 8 pi x (1 - cos phi). The same as a' = (1 - 3 a) / (4 a - 1) and x^2 = (1 - a) (4 a -
/// 1)^2 / (1 - 3 a), resolved for a.
/// @param local_speed_ratio  x = omega r / V, above 0
/// @throws BadInput          outside
/// Source: Glauert, Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935); Hansen,
/// Aerodynamics of Wind Turbines, 2nd ed. (2008), chapter 4. Checked in
/// tests/published/ideal_rotor_test.cpp.
IdealElement ideal_element(double local_speed_ratio);

/// Its largest power coefficient: (8 / lambda^2) times the integral of a' (1 - a) x^3 over x from 0
/// to lambda, in closed form with z = 1 - 3 a at the tip:
/// cp = 8 / (729 lambda^2) [64/5 z^5 + 72 z^4 + 124 z^3 + 38 z^2 - 63 z - 12 ln z - 4 / z], from z
/// to 1/4. Towards 16/27 as lambda grows.
/// @param tip_speed_ratio  lambda, 0.01 to 1000
/// @throws BadInput        outside
/// Source: Manwell, McGowan, Rogers, Wind Energy Explained, 2nd ed. (2009), section 3.3, after
/// Glauert; integrated anew here. Checked in tests/published/ideal_rotor_test.cpp.
double ideal_rotor_cp(double tip_speed_ratio);

}  // namespace windwright::physics
