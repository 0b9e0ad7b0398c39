// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// When an inverter warns, stops and comes back. Voltages at its DC terminals.
struct InverterLimits {
  double low_warning_V;
  double low_stop_V;       // below it for low_stop_delay_s: stop
  double low_reconnect_V;  // above low_stop_V
  double low_stop_delay_s;
  double high_stop_V;  // above it: stop at once
  double high_reconnect_V;
  double overcurrent_share;  // of rated apparent power: above it for overcurrent_delay_s, stop
  double overcurrent_delay_s;
  double continuous_share;  // of rated apparent power, held for ever
  double thermal_time_s;    // time constant of its heating
  double start_delay_s;     // from switching on, or from a reconnection, to output
  double restart_delay_s;   // pause after an overload, and within limits after a voltage stop
  int most_restarts;        // by itself after overloads; 0: every overload locks
  double forgive_s;         // running this long without overload, restarts count from 0 again
  bool has_standby;
  double standby_below_VA;  // less than this for standby_delay_s: standby
  double standby_delay_s;
};

/// off         switched off by hand
/// starting    electronics on, no output yet
/// running     output on
/// standby     searching for a load, no output
/// stopped     by a limit; comes back by itself
/// locked      by too many overloads; comes back only when switched off and on by hand
enum class InverterMode { off, starting, running, standby, stopped, locked };
enum class StopCause { none, low_voltage, high_voltage, overload, overcurrent };

struct InverterState {
  InverterMode mode = InverterMode::off;
  StopCause cause = StopCause::none;  // of the last stop since it was switched on
  bool low_voltage_warning = false;
  int restarts = 0;      // by itself, after overloads
  double heating = 0.0;  // over the heating at continuous_share for ever; 1 stops
  double in_mode_s = 0.0;
  double low_s = 0.0;            // below low_stop_V so far
  double overcurrent_s = 0.0;    // above overcurrent_share so far
  double light_s = 0.0;          // below standby_below_VA so far
  double within_limits_s = 0.0;  // stopped, with the voltage where it may come back
};

struct InverterInput {
  double dc_voltage_V;  // 0 or more
  double connected_VA;  // what the loads draw, or would draw at the output's voltage
  bool switched_on;
};

/// @throws BadInput  limits out of order, delays below 0
void check(const InverterLimits& limits);

/// The state one step later, the input held over it. Pure: same state, same input, same answer.
/// Order of decision: hand switch, over-voltage, over-current, overload, low voltage, standby. A
/// delay ends with the first step that reaches it, so steps should be shorter than the shortest
/// delay that matters. A stop for voltage comes back as often as the voltage does and is not
/// counted; a stop for load is counted and locks after most_restarts.
///   heating' = ((S / (rated continuous_share))^2 - heating) / thermal_time_s
/// so that from cold it stops after thermal_time_s ln(x^2 / (x^2 - 1)), x = S / (rated
/// continuous_share). Source: IEC 60255-149 (formerly IEC 60255-8), cold curve of a thermal relay.
/// Checked in tests/published/inverter_test.cpp.
/// @param rated_power_VA  above 0
/// @param step_s          0 or more
/// @throws BadInput  a voltage or load below 0 or not finite
InverterState later(const InverterLimits& limits, double rated_power_VA, const InverterState& state,
                    const InverterInput& input, double step_s);

}  // namespace windwright::physics
