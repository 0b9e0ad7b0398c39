// SPDX-License-Identifier: Apache-2.0
#include "physics/charge_controller.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace windwright::physics {
namespace {

constexpr double reference_K = 298.15;
constexpr double lowest_share = 1e-4;  // from which the current can grow again

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("charge controller", fmt::format("{} is {}", what, value), right);
}

bool is_on_off(SourceControl source) {
  return source == SourceControl::series_on_off || source == SourceControl::shunt_on_off;
}

bool is_shunt(SourceControl source) {
  return source == SourceControl::shunt_on_off || source == SourceControl::shunt_pwm;
}

/// The factor on a current that brings the voltage nearer to its target.
double current_factor(const ChargeController& controller, const ControllerState& state,
                      double target, double voltage_V) {
  const double error = std::clamp((target - voltage_V) / target, -1.0, 1.0);
  const double fall =
      std::clamp((state.voltage_V.value_or(voltage_V) - voltage_V) / target, -0.02, 0.02);
  return std::exp(controller.integral_gain_s1 * controller.sample_period_s * error +
                  controller.proportional_gain * fall);
}

void enter(ControllerState& state, ChargeStage stage) {
  state.stage = stage;
  state.held_s = 0.0;
  state.tail_s = 0.0;
  state.below_return_s = 0.0;
}

void update_stage(const ChargeController& controller, ControllerState& state,
                  const ControllerInput& input) {
  const double period_s = controller.sample_period_s;
  const double target = target_V(controller, state.stage, input.battery_temperature_K);
  const double band_V =
      controller.cells *
      (is_on_off(controller.source) ? controller.on_off_deadband_V : controller.hold_band_V);
  const bool held = input.battery_voltage_V >= target - band_V;
  const bool low = input.battery_voltage_V < controller.cells * controller.return_to_bulk_V;
  state.since_equalise_s += period_s;
  state.below_return_s = low ? state.below_return_s + period_s : 0.0;
  if (state.stage == ChargeStage::bulk) {
    const double reached_V = is_on_off(controller.source) ? target : target - band_V;
    if (input.battery_voltage_V >= reached_V) enter(state, ChargeStage::absorption);
    return;
  }
  if (state.below_return_s >= controller.return_to_bulk_delay_s) {
    enter(state, ChargeStage::bulk);
    return;
  }
  // Equalising ends by the clock, even where a weak source never gets there.
  if (held || state.stage == ChargeStage::equalise) state.held_s += period_s;
  const bool tailed = held && input.charging_current_A <= controller.absorption_end_current_A;
  state.tail_s = tailed ? state.tail_s + period_s : 0.0;
  if (state.stage == ChargeStage::absorption &&
      (state.held_s >= controller.absorption_time_s ||
       state.tail_s >= controller.absorption_end_delay_s)) {
    const bool due = controller.set_points.equalise_V.has_value() &&
                     state.since_equalise_s >= controller.equalise_interval_s;
    enter(state, due ? ChargeStage::equalise : ChargeStage::float_charge);
  } else if (state.stage == ChargeStage::equalise && state.held_s >= controller.equalise_time_s) {
    state.since_equalise_s = 0.0;
    enter(state, ChargeStage::float_charge);
  }
}

void update_source(const ChargeController& controller, ControllerState& state,
                   const ControllerInput& input, double target) {
  if (is_on_off(controller.source)) {
    const double deadband_V = controller.cells * controller.on_off_deadband_V;
    const bool turn = state.source_on ? input.battery_voltage_V > target
                                      : input.battery_voltage_V < target - deadband_V;
    if (turn) {
      state.source_on = !state.source_on;
      ++state.source_switchings;
    }
    state.current_share = state.source_on ? 1.0 : 0.0;
  } else if (controller.source != SourceControl::always_on) {
    state.current_share = std::clamp(
        state.current_share * current_factor(controller, state, target, input.battery_voltage_V),
        lowest_share, 1.0);
  }
}

/// Pulsed: what the battery's current has to change by goes through the dump load. A battery that
/// discharges into it gets that current back at once. To that comes a part of what the dump load
/// takes: a full battery takes next to nothing, and the voltage then is source current times
/// resistance of the dump load. It can answer by no more than the change of the share, whatever the
/// battery is, so that this part holds where the other creeps, and cannot hunt.
double pulsed_dump_change(const ChargeController& controller, const ControllerState& state,
                          const ControllerInput& input, double start_V) {
  const double absorption_V = controller.cells * controller.set_points.absorption_V;
  const double voltage_V = std::max(input.battery_voltage_V, 0.5 * absorption_V);
  const double whole_A = controller.dump_current_A * voltage_V / absorption_V;
  const double error = std::clamp((start_V - input.battery_voltage_V) / start_V, -1.0, 1.0);
  const double response = controller.integral_gain_s1 * controller.sample_period_s;
  const double fall = std::clamp(
      (state.voltage_V.value_or(input.battery_voltage_V) - input.battery_voltage_V) / start_V,
      -0.02, 0.02);
  const double current_A = std::max(input.charging_current_A, 1e-3 * controller.dump_current_A);
  // Less where the battery gasses: the whole gain would hunt on 1/11 V of a cell for e times the
  // current.
  const double battery_share = current_A / (current_A + state.dump_share * whole_A);
  const double damping_gain = controller.proportional_gain * battery_share * battery_share;
  const double change_A =
      input.charging_current_A < 0.0
          ? input.charging_current_A
          : current_A * (1.0 - std::exp(response * error + damping_gain * fall));
  return change_A / whole_A - state.dump_share * (1.0 - std::exp(-response)) * error;
}

void update_dump(const ChargeController& controller, ControllerState& state,
                 const ControllerInput& input, double target) {
  if (controller.dump == DumpControl::none) return;
  const double start_V = target + controller.cells * controller.dump_margin_V;
  if (controller.dump == DumpControl::on_off) {
    const double deadband_V = controller.cells * controller.dump_deadband_V;
    const bool on = state.dump_share > 0.0;
    const bool turn =
        on ? input.battery_voltage_V < start_V - deadband_V : input.battery_voltage_V > start_V;
    if (turn) {
      state.dump_share = on ? 0.0 : 1.0;
      ++state.dump_switchings;
    }
    return;
  }
  state.dump_share = std::clamp(
      state.dump_share + pulsed_dump_change(controller, state, input, start_V), 0.0, 1.0);
}

void update_loads(const ChargeController& controller, ControllerState& state,
                  const ControllerInput& input) {
  const double cells = controller.cells;
  const bool beyond =
      state.loads_connected
          ? input.battery_voltage_V < cells * controller.set_points.low_voltage_disconnect_V
          : input.battery_voltage_V > cells * controller.set_points.low_voltage_reconnect_V;
  state.load_wait_s = beyond ? state.load_wait_s + controller.sample_period_s : 0.0;
  if (beyond && state.load_wait_s >= controller.load_delay_s) {
    state.loads_connected = !state.loads_connected;
    state.load_wait_s = 0.0;
    ++state.load_switchings;
  }
}

void require_input(const ControllerInput& input) {
  require(std::isfinite(input.battery_voltage_V) && input.battery_voltage_V >= 0.0,
          "the battery voltage", input.battery_voltage_V, "not negative");
  require(std::isfinite(input.battery_temperature_K) && input.battery_temperature_K > 0.0,
          "the battery temperature", input.battery_temperature_K, "above 0 K");
  require(std::isfinite(input.charging_current_A), "the charging current", input.charging_current_A,
          "finite");
}

}  // namespace

ChargeSetPoints common_set_points(BatteryKind kind) {
  ChargeSetPoints points{.absorption_V = 2.43,
                         .float_V = 2.25,
                         .equalise_V = {},
                         .temperature_compensation_V_K = -0.004,
                         .lowest_charging_K = 253.15,
                         .highest_charging_K = 323.15,
                         .low_voltage_disconnect_V = 1.90,
                         .low_voltage_reconnect_V = 2.10};
  switch (kind) {
    case BatteryKind::flooded:
      points.equalise_V = 2.58;
      break;
    case BatteryKind::agm:
      points.absorption_V = 2.40;
      points.float_V = 2.27;
      break;
    case BatteryKind::gel:
      points.absorption_V = 2.35;
      points.float_V = 2.27;
      break;
    case BatteryKind::lithium_iron_phosphate:
      points = {.absorption_V = 3.55,
                .float_V = 3.375,
                .equalise_V = {},
                .temperature_compensation_V_K = 0.0,
                .lowest_charging_K = 273.15,
                .highest_charging_K = 318.15,
                .low_voltage_disconnect_V = 2.9,
                .low_voltage_reconnect_V = 3.2};
      break;
  }
  return points;
}

void require_controller(const ChargeController& controller) {
  const ChargeSetPoints& points = controller.set_points;
  const auto above_0 = [](const char* what, double value) {
    require(std::isfinite(value) && value > 0.0, what, value, "above 0");
  };
  const auto not_negative = [](const char* what, double value) {
    require(std::isfinite(value) && value >= 0.0, what, value, "not negative");
  };
  require(controller.cells >= 1, "the number of cells", controller.cells, "at least 1");
  above_0("the float voltage", points.float_V);
  require(points.absorption_V >= points.float_V, "the absorption voltage", points.absorption_V,
          "at least the float voltage");
  require(points.equalise_V.value_or(points.absorption_V) >= points.absorption_V,
          "the equalise voltage", points.equalise_V.value_or(0.0),
          "at least the absorption voltage");
  require(
      points.temperature_compensation_V_K <= 0.0 && points.temperature_compensation_V_K >= -0.01,
      "the temperature compensation", points.temperature_compensation_V_K,
      "from -0.01 to 0 V a kelvin and cell");
  above_0("the low-voltage disconnect", points.low_voltage_disconnect_V);
  require(points.low_voltage_reconnect_V > points.low_voltage_disconnect_V,
          "the low-voltage reconnect", points.low_voltage_reconnect_V, "above the disconnect");
  require(points.lowest_charging_K < points.highest_charging_K,
          "the lowest temperature for charging", points.lowest_charging_K, "below the highest");
  above_0("the rated current", controller.rated_current_A);
  if (controller.dump != DumpControl::none) {
    above_0("the dump load's current", controller.dump_current_A);
  }
  above_0("the sample period", controller.sample_period_s);
  above_0("the integral gain", controller.integral_gain_s1);
  not_negative("the proportional gain", controller.proportional_gain);
  for (const double value :
       {controller.absorption_end_current_A, controller.absorption_end_delay_s,
        controller.absorption_time_s, controller.equalise_time_s, controller.equalise_interval_s,
        controller.hold_band_V, controller.return_to_bulk_V, controller.return_to_bulk_delay_s,
        controller.on_off_deadband_V, controller.dump_margin_V, controller.dump_deadband_V,
        controller.load_delay_s}) {
    not_negative("a time, band or end current", value);
  }
}

double target_V(const ChargeController& controller, ChargeStage stage,
                double battery_temperature_K) {
  const ChargeSetPoints& points = controller.set_points;
  double cell_V = points.absorption_V;  // bulk goes up to it
  if (stage == ChargeStage::float_charge) cell_V = points.float_V;
  if (stage == ChargeStage::equalise) cell_V = points.equalise_V.value_or(points.absorption_V);
  const double excess_K = std::clamp(battery_temperature_K, 263.15, 323.15) - reference_K;
  return controller.cells * (cell_V + points.temperature_compensation_V_K * excess_K);
}

ControllerStep controller_step(const ChargeController& controller, const ControllerState& state,
                               const ControllerInput& input) {
  require_controller(controller);
  require_input(input);
  ControllerState next = state;
  update_stage(controller, next, input);
  const double target = target_V(controller, next.stage, input.battery_temperature_K);
  update_source(controller, next, input, target);
  update_dump(controller, next, input, target);
  update_loads(controller, next, input);
  next.voltage_V = input.battery_voltage_V;

  ControllerOutput output{};
  output.stage = next.stage;
  output.target_V = target;
  output.charging_allowed =
      input.battery_temperature_K >= controller.set_points.lowest_charging_K &&
      input.battery_temperature_K <= controller.set_points.highest_charging_K;
  const double share = output.charging_allowed ? next.current_share : 0.0;
  output.source_share = share;
  output.short_circuited_share = is_shunt(controller.source) ? 1.0 - share : 0.0;
  // A source that stays connected has to go somewhere else while the battery must not be charged.
  const bool divert = !output.charging_allowed && controller.dump != DumpControl::none;
  output.dump_share = divert ? 1.0 : next.dump_share;
  output.loads_connected = next.loads_connected;
  output.output_current_limit_A = std::numeric_limits<double>::infinity();
  if (controller.source == SourceControl::tracker) {
    // While the battery takes less than the source could give, the power says nothing about the
    // source: the demand stays.
    const double elapsed_s = controller.sample_period_s;
    TrackerStep tracked = tracker_step(controller.tracking, next.tracker, input.source, elapsed_s);
    if (next.current_share < 1.0 && next.tracker.started) {
      tracked.state = next.tracker;
      if (tracked.demand.input_voltage_V) tracked.demand.input_voltage_V = next.tracker.demand_V;
    }
    next.tracker = tracked.state;
    output.demand = tracked.demand;
    output.output_current_limit_A = share * controller.rated_current_A;
    output.source_share = 1.0;
  }
  return {.state = next, .output = output};
}

}  // namespace windwright::physics
