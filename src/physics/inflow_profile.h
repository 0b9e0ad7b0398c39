// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace windwright::physics {

/// Mean axial air speed across the empty tunnel at the rotor's place, even around the axis: over
/// the speed at the air-speed sensor. Linear between radii; inside the first as at the first.
struct InflowProfile {
  std::vector<double> radius_m;     // ascending, at least two, the first 0 or above
  std::vector<double> speed_ratio;  // one a radius, above 0
  double u_speed_ratio;             // standard uncertainty of each
};

/// What the profile means for a rotor disc.
struct DiscInflow {
  double speed_ratio;    // area mean of the speed over the speed at the sensor
  double u_speed_ratio;  // as if all ratios erred together: the most that they can
  double cube_factor;    // area mean of the cube over the cube of the area mean, 1 or above
  double u_cube_factor;  // as if each erred on its own: a common error leaves it alone
};

/// Area means over the disc from the axis to the tip, exact for the linear pieces.
/// @param tip_radius_m  above 0, at most the profile's last radius
/// @throws BadInput  a profile outside its domain, or one that ends inside the tip
/// Source: the wind's power through an area is the integral of 1/2 rho v^3 (IEC 61400-12-1:2017,
/// 9.1.3.2, for a speed that varies with height; from memory).
DiscInflow disc_inflow(const InflowProfile& profile, double tip_radius_m);

/// Mean of the cube over the cube of the mean, of a fluctuation of this intensity (standard
/// deviation over mean): 1 + 3 TI^2, exact where its third moment is 0.
/// @param turbulence_intensity  0 or above
/// Source: expansion of (1 + x)^3; e.g. Burton et al., Wind Energy Handbook, 2nd ed. (2011), 2.6
/// (from memory).
double turbulence_cube_factor(double turbulence_intensity);

}  // namespace windwright::physics
