// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/generator.h"

namespace windwright::physics {

/// The machine of the demo bench (invented).
inline Generator bench_generator() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.5e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.006,
          .bearing_viscous_N_m_s = 1e-5,
          .iron_hysteresis_J = 2.5e-4,
          .iron_eddy_J_s = 1.5e-6,
          .cogging_torque_N_m = 0.015};
}

}  // namespace windwright::physics
