// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// A charger on the mains that brings the battery up before a test: constant current, then constant
/// voltage, then float. Mains voltage is for licensed persons: docs/theory/charge_control.md.
struct MainsCharger {
  double highest_current_A;    // of the constant-current part, above 0
  double absorption_V;         // whole battery
  double float_V;              // at most absorption_V
  double regulation_ohm;       // how far the constant voltage yields to current, above 0
  double efficiency;           // of what goes through, in (0, 1]
  double no_load_W;            // drawn from the mains at any current, not negative
  double end_current_A;        // absorption ends below it,
  double end_delay_s = 600.0;  // once it has stayed there so long; common practice, no source
};

/// On the averaged chain: explicit in the battery's voltage, current falling with it. mains power =
/// output power + loss.
struct MainsChargerFlow {
  double current_A;  // into the battery, 0 to highest_current_A
  double slope_A_V;  // d(current)/d(battery voltage), not positive
  double output_power_W;
  double mains_power_W;
  double loss_W;
};

struct MainsChargerState {
  bool floating = false;  // the battery is up
  double below_end_s = 0.0;
};

/// Current (set voltage - battery voltage) / regulation_ohm between 0 and the highest.
/// @param battery_voltage_V  not negative
/// @throws BadInput          outside the domains stated
MainsChargerFlow mains_charger_flow(const MainsCharger& charger, const MainsChargerState& state,
                                    double battery_voltage_V);

/// The state after a sample. Float is left only by a new MainsChargerState: a person decides to
/// charge again.
/// @param current_A  from the flow
/// @param elapsed_s  since the sample before
MainsChargerState mains_charger_step(const MainsCharger& charger, const MainsChargerState& state,
                                     double current_A, double elapsed_s);

}  // namespace windwright::physics
