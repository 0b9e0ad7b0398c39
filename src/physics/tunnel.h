// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>

namespace windwright::physics {

/// A tunnel driven by a fan whose speed is commanded in percent; what its walls do to a rotor is in
/// physics/blockage.h. docs/theory/tunnel.md.
struct Tunnel {
  double rated_air_speed_m_s;                            // at 100 % fan, empty
  double time_constant_s;                                // first-order lag of fan and air
  double turbulence_intensity;                           // standard deviation over mean
  double integral_length_m;                              // of the turbulence
  std::optional<double> section_area_m2 = std::nullopt;  // closed section; none: an open jet
};

/// Mean air speed the tunnel settles at: proportional to fan speed, the affinity law of a fan on a
/// circuit whose losses go with the square of the flow.
/// @param fan_pct  a drive cannot do less than 0 or more than 100: values outside count as these
/// Source: fan affinity laws, common practice, no source.
double settled_air_speed_m_s(const Tunnel& tunnel, double fan_pct);

/// d(mean air speed)/dt on the way there: (settled - mean) / time constant.
double air_acceleration_m_s2(const Tunnel& tunnel, double fan_pct, double mean_air_speed_m_s);

/// One step of the turbulent fluctuation over the mean: an Ornstein-Uhlenbeck process with standard
/// deviation turbulence_intensity times mean and time scale integral_length_m / mean (frozen
/// turbulence). Exact for a step of any length: n short steps and one long one have the same law.
/// @param mean_air_speed_m_s  0 or less: still air, the fluctuation is 0
/// @param step_s              0 or more
/// @param normal              a standard normal number, a new one each step
/// Source: Gillespie, Exact numerical simulation of the Ornstein-Uhlenbeck process and its
/// integral, Phys. Rev. E 54 (1996) 2084, eq. 1.9. Checked in tests/physics/tunnel_test.cpp.
double next_fluctuation_m_s(const Tunnel& tunnel, double mean_air_speed_m_s, double fluctuation_m_s,
                            double step_s, double normal);

}  // namespace windwright::physics
