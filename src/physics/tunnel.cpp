// SPDX-License-Identifier: Apache-2.0
#include "physics/tunnel.h"

#include <algorithm>
#include <cmath>

namespace windwright::physics {

double settled_air_speed_m_s(const Tunnel& tunnel, double fan_pct) {
  return tunnel.rated_air_speed_m_s * std::clamp(fan_pct, 0.0, 100.0) / 100.0;
}

double air_acceleration_m_s2(const Tunnel& tunnel, double fan_pct, double mean_air_speed_m_s) {
  return (settled_air_speed_m_s(tunnel, fan_pct) - mean_air_speed_m_s) / tunnel.time_constant_s;
}

double next_fluctuation_m_s(const Tunnel& tunnel, double mean_air_speed_m_s, double fluctuation_m_s,
                            double step_s, double normal) {
  if (!(mean_air_speed_m_s > 0.0)) return 0.0;
  const double time_scales = step_s * mean_air_speed_m_s / tunnel.integral_length_m;
  const double standard_deviation_m_s = tunnel.turbulence_intensity * mean_air_speed_m_s;
  // expm1 keeps the variance of very short steps, where 1 - exp(-2 t) would round away.
  return fluctuation_m_s * std::exp(-time_scales) +
         standard_deviation_m_s * std::sqrt(-std::expm1(-2.0 * time_scales)) * normal;
}

}  // namespace windwright::physics
