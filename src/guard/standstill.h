// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/stop_sequence.h"

#include <cmath>

namespace windwright::guard {

/// For as long it has to be seen before a hand goes to the blades.
inline constexpr double shortest_rest_s = 1.0;

/// Whether a rotor is seen to stand by two witnesses, for a dead speed sensor alone must not send a
/// hand to the blades: its speed, and the voltage of a generator that is silent.
/// @param span_V  of the voltage's channel
inline bool is_seen_to_stand(double rotor_speed_rad_s, double dc_voltage_V, double span_V) {
  constexpr double quiet_part = 0.01;
  return rotor_speed_rad_s < standstill_rad_s && std::abs(dc_voltage_V) < quiet_part * span_V;
}

}  // namespace windwright::guard
