// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// An open-jet tunnel driven by a fan whose speed is commanded in percent.
struct Tunnel {
  double rated_air_speed_m_s;   // at 100 % fan, empty
  double time_constant_s;       // first-order lag of fan and air
  double turbulence_intensity;  // standard deviation over mean
  double integral_length_m;     // of the turbulence
};

/// Mean air speed the tunnel settles at (fan law: proportional to fan speed).
double settled_air_speed_m_s(const Tunnel& tunnel, double fan_pct);
/// d(mean air speed)/dt on the way there.
double air_acceleration_m_s2(const Tunnel& tunnel, double fan_pct, double mean_air_speed_m_s);
/// One step of the turbulent fluctuation over the mean (Ornstein-Uhlenbeck with time scale
/// integral_length_m / mean air speed); `normal` is a standard normal number.
double next_fluctuation_m_s(const Tunnel& tunnel, double mean_air_speed_m_s, double fluctuation_m_s,
                            double step_s, double normal);

}  // namespace windwright::physics
