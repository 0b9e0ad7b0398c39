// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"
#include "physics/power_tracker.h"

#include <cstdint>
#include <optional>

namespace windwright::physics {

/// Voltages of one cell at 298.15 K. Those of a real battery are its maker's.
struct ChargeSetPoints {
  double absorption_V;
  double float_V;                    // at most absorption_V
  std::optional<double> equalise_V;  // above absorption_V; nothing for what must not be equalised
  double temperature_compensation_V_K;  // of these three, not positive
  double lowest_charging_K;             // battery temperature below which charging stops
  double highest_charging_K;
  double low_voltage_disconnect_V;
  double low_voltage_reconnect_V;  // above the disconnect
};

/// Common practice, no source; lead-acid values inside the ranges of
/// tests/published/data/lead_acid_charge_setpoints.json. Lithium iron phosphate must not be charged
/// below 0 degC (metallic lithium is plated, which can short the cell).
ChargeSetPoints common_set_points(BatteryKind kind);

/// What stands between source and battery. Caution: a wind generator that is taken off its load by
/// a series switch speeds up, without bound but its run-away speed; only for a source that may run
/// unloaded, or with a dump load as well. Short-circuiting a permanent-magnet generator brakes it
/// at high speed no better than its curve says and heats winding and switch: docs/theory/
/// charge_control.md. Local codes and a qualified person decide.
enum class SourceControl {
  always_on,      // only the dump load keeps the voltage
  series_on_off,  // opens above the target, closes a deadband below
  series_pwm,
  shunt_on_off,  // short-circuits the source instead of opening
  shunt_pwm,
  tracker,  // maximum power tracking, limited by its output current
};

/// Whether voltage and current of the source pulse, so that their means do not make its power.
inline bool is_pulsed(SourceControl source) {
  return source == SourceControl::series_pwm || source == SourceControl::shunt_pwm;
}

enum class DumpControl { none, on_off, pwm };

enum class ChargeStage { bulk, absorption, equalise, float_charge };

/// Defaults: common practice, no source.
struct ChargeController {
  int cells;
  ChargeSetPoints set_points;
  SourceControl source;
  DumpControl dump;
  double rated_current_A;  // largest into the battery; the tracker's limit. Above 0
  double dump_current_A;   // of the dump load at the absorption voltage; above 0 where there is one
  double absorption_end_current_A;  // tail: absorption ends below it
  TrackingMethod tracking =
      PerturbAndObserve{.step_V = 0.5, .lowest_V = 0.0, .highest_V = 1e3, .hold_s = 2.0};
  double sample_period_s = 1.0;
  double absorption_end_delay_s = 300.0;    // the tail must have lasted this long
  double absorption_time_s = 4.0 * 3600.0;  // at the target, at most
  double equalise_time_s = 2.0 * 3600.0;
  double equalise_interval_s = 30.0 * 24.0 * 3600.0;
  double hold_band_V = 0.01;       // of a cell: nearer than this to the target counts as held
  double return_to_bulk_V = 2.10;  // of a cell
  double return_to_bulk_delay_s = 600.0;
  double on_off_deadband_V = 0.08;  // of a cell
  // ln(current) over the voltage's relative change: below target / (largest current R).
  double proportional_gain = 80.0;
  double integral_gain_s1 = 0.7;  // rate of ln(current) over the voltage's relative error
  double dump_margin_V = 0.03;    // of a cell: the dump load starts so far above the target
  double dump_deadband_V = 0.08;  // of a cell
  double load_delay_s = 10.0;     // the voltage must have been beyond its set point so long
};

/// What the controller measures in a sample.
struct ControllerInput {
  double battery_voltage_V;
  double battery_temperature_K;
  double charging_current_A;  // into the battery, after dump load and loads
  TrackerReading source;
};

struct ControllerState {
  ChargeStage stage = ChargeStage::bulk;
  double held_s = 0.0;  // in this stage, at its target; equalise: in this stage
  double tail_s = 0.0;
  double below_return_s = 0.0;
  double since_equalise_s = 0.0;
  double current_share = 1.0;  // of what the source could give
  double dump_share = 0.0;
  bool source_on = true;
  bool loads_connected = true;
  double load_wait_s = 0.0;
  TrackerState tracker;
  std::optional<double> voltage_V = {};  // of the sample before
  // On/off decisions: many in a short time are chattering.
  std::int64_t source_switchings = 0;
  std::int64_t dump_switchings = 0;
  std::int64_t load_switchings = 0;
};

/// Shares of the coming sample period; averaged, where a switch is pulsed.
struct ControllerOutput {
  ChargeStage stage;
  double target_V;               // whole battery, compensated
  bool charging_allowed;         // by the battery's temperature
  double source_share;           // of the time that the source feeds the battery
  double short_circuited_share;  // of the time that the source is short-circuited
  double dump_share;
  bool loads_connected;
  TrackerDemand demand;           // tracker only
  double output_current_limit_A;  // tracker only; infinite for the others
};

struct ControllerStep {
  ControllerState state;
  ControllerOutput output;
};

/// @throws BadInput  set points out of order or a parameter outside its domain
void require_controller(const ChargeController& controller);

/// Target of a stage for the whole battery; temperatures outside 263.15 to 323.15 K compensate as
/// these.
double target_V(const ChargeController& controller, ChargeStage stage,
                double battery_temperature_K);

/// One sample. Bulk: all the source gives, up to the absorption voltage. Absorption: held there
/// until the current has tailed off or the time is over; then, if due, equalise; then float. Below
/// return_to_bulk_V for its delay, bulk again. Voltage is held by a proportional and integral law
/// on the logarithm of the current: how far the voltage answers to that hardly differs between an
/// empty and a full battery, how far to the current itself a thousandfold.
/// @throws BadInput  controller or input outside its domain
ControllerStep controller_step(const ChargeController& controller, const ControllerState& state,
                               const ControllerInput& input);

}  // namespace windwright::physics
