// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/inverter.h"

namespace windwright::physics {

// A bench's inverter of our own invention: 24 V, 300 VA.
inline Inverter bench_inverter() {
  return {.kind = OutputKind::sine,
          .rated_power_VA = 300.0,
          .output_rms_V = 230.0,
          .frequency_Hz = 50.0,
          .link_ratio = 16.0,
          .regulated = true,
          .pulse_share = 0.5,
          .losses = {.no_load_share = 0.02, .proportional_share = 0.03, .quadratic_share = 0.05},
          .standby_power_W = 0.6,
          .off_power_W = 0.05,
          .dc_ripple_share = 0.8,
          .filter = {.carrier_Hz = 20e3, .inductance_H = 2e-3, .capacitance_F = 1e-6},
          .limits = {.low_warning_V = 22.0,
                     .low_stop_V = 21.0,
                     .low_reconnect_V = 25.0,
                     .low_stop_delay_s = 1.0,
                     .high_stop_V = 32.0,
                     .high_reconnect_V = 30.0,
                     .overcurrent_share = 2.5,
                     .overcurrent_delay_s = 0.05,
                     .continuous_share = 1.05,
                     .thermal_time_s = 60.0,
                     .start_delay_s = 0.5,
                     .restart_delay_s = 5.0,
                     .most_restarts = 3,
                     .forgive_s = 120.0,
                     .has_standby = true,
                     .standby_below_VA = 3.0,
                     .standby_delay_s = 10.0}};
}

}  // namespace windwright::physics
