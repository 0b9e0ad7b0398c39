// SPDX-License-Identifier: Apache-2.0
#include "physics/inverter_protection.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>

namespace windwright::physics {
namespace {

void enter(InverterState& state, InverterMode mode) {
  state.mode = mode;
  state.in_mode_s = 0.0;
  state.low_s = 0.0;
  state.overcurrent_s = 0.0;
  state.light_s = 0.0;
  state.within_limits_s = 0.0;
}

void stop(InverterState& state, StopCause cause, bool locks) {
  enter(state, locks ? InverterMode::locked : InverterMode::stopped);
  state.cause = cause;
}

bool is_overload(StopCause cause) {
  return cause == StopCause::overload || cause == StopCause::overcurrent;
}

// How long a condition has held; a step that does not meet it sets it back.
double held_s(bool condition, double so_far_s, double step_s) {
  return condition ? so_far_s + step_s : 0.0;
}

void decide_live(const InverterLimits& limits, double rated_power_VA, const InverterInput& input,
                 InverterState& state, double step_s) {
  const bool running = state.mode == InverterMode::running;
  const bool spent = state.restarts >= limits.most_restarts;
  const double load = running ? input.connected_VA / rated_power_VA : 0.0;
  state.low_s = held_s(input.dc_voltage_V < limits.low_stop_V, state.low_s, step_s);
  state.overcurrent_s = held_s(load > limits.overcurrent_share, state.overcurrent_s, step_s);
  state.light_s =
      held_s(running && input.connected_VA < limits.standby_below_VA, state.light_s, step_s);
  const bool wakes =
      state.mode == InverterMode::standby && input.connected_VA >= limits.standby_below_VA;
  const bool started =
      state.mode == InverterMode::starting && state.in_mode_s >= limits.start_delay_s;
  if (input.dc_voltage_V > limits.high_stop_V) {
    stop(state, StopCause::high_voltage, false);
  } else if (state.overcurrent_s > 0.0 && state.overcurrent_s >= limits.overcurrent_delay_s) {
    stop(state, StopCause::overcurrent, spent);
  } else if (running && state.heating >= 1.0) {
    stop(state, StopCause::overload, spent);
  } else if (state.low_s > 0.0 && state.low_s >= limits.low_stop_delay_s) {
    stop(state, StopCause::low_voltage, false);
  } else if (running && limits.has_standby && state.light_s > 0.0 &&
             state.light_s >= limits.standby_delay_s) {
    enter(state, InverterMode::standby);
  } else if (wakes || started) {
    enter(state, InverterMode::running);
  } else if (running && state.in_mode_s >= limits.forgive_s) {
    state.restarts = 0;
  }
}

// After an overload it must have cooled, too: half way down is common practice, no source.
void decide_stopped(const InverterLimits& limits, const InverterInput& input, InverterState& state,
                    double step_s) {
  const bool is_low = state.cause == StopCause::low_voltage;
  const bool is_high = state.cause == StopCause::high_voltage;
  const bool within =
      input.dc_voltage_V >= (is_low ? limits.low_reconnect_V : limits.low_stop_V) &&
      input.dc_voltage_V <= (is_high ? limits.high_reconnect_V : limits.high_stop_V) &&
      (!is_overload(state.cause) || state.heating <= 0.5);
  state.within_limits_s = held_s(within, state.within_limits_s, step_s);
  if (!within || state.within_limits_s < limits.restart_delay_s) return;
  if (is_overload(state.cause)) ++state.restarts;
  enter(state, InverterMode::starting);
}

}  // namespace

void check(const InverterLimits& limits) {
  const auto need = [](bool right, const char* wrong, const char* what) {
    if (!right) throw base::BadInput("inverter limits", wrong, what);
  };
  need(limits.low_stop_V > 0.0 && limits.low_stop_V < limits.low_reconnect_V,
       "low-voltage stop and reconnection are out of order", "0 < stop < reconnect");
  need(limits.low_warning_V >= limits.low_stop_V, "low-voltage warning comes after the stop",
       "at or above the stop");
  need(limits.low_reconnect_V < limits.high_reconnect_V &&
           limits.high_reconnect_V < limits.high_stop_V,
       "reconnection and high-voltage stop are out of order",
       "low reconnect < high reconnect < high stop");
  need(limits.continuous_share > 0.0 && limits.overcurrent_share > limits.continuous_share,
       "overload limits are out of order", "0 < continuous < over-current");
  need(limits.thermal_time_s > 0.0, "thermal time is not above 0", "above 0 s");
  need(limits.most_restarts >= 0, "restarts are below 0", "0 or more");
  need(limits.low_stop_delay_s >= 0.0 && limits.overcurrent_delay_s >= 0.0 &&
           limits.start_delay_s >= 0.0 && limits.restart_delay_s >= 0.0 &&
           limits.forgive_s >= 0.0 && limits.standby_delay_s >= 0.0,
       "a delay is below 0", "0 s or more");
}

InverterState later(const InverterLimits& limits, double rated_power_VA, const InverterState& state,
                    const InverterInput& input, double step_s) {
  if (!(input.dc_voltage_V >= 0.0 && std::isfinite(input.dc_voltage_V))) {
    throw base::BadInput("inverter", fmt::format("DC voltage is {} V", input.dc_voltage_V),
                         "0 or more");
  }
  if (!(input.connected_VA >= 0.0 && std::isfinite(input.connected_VA))) {
    throw base::BadInput("inverter", fmt::format("load is {} VA", input.connected_VA), "0 or more");
  }
  if (!(step_s >= 0.0 && std::isfinite(step_s)))
    throw base::BadInput("inverter", fmt::format("step is {} s", step_s), "0 or more");
  InverterState next = state;
  next.in_mode_s += step_s;
  const double load = state.mode == InverterMode::running
                          ? input.connected_VA / (rated_power_VA * limits.continuous_share)
                          : 0.0;
  // Of the linear equation over the step, exactly.
  next.heating += (load * load - state.heating) * -std::expm1(-step_s / limits.thermal_time_s);
  next.low_voltage_warning = input.switched_on && input.dc_voltage_V < limits.low_warning_V;
  if (!input.switched_on) {
    enter(next, InverterMode::off);
    next.cause = StopCause::none;
    next.restarts = 0;
    return next;
  }
  switch (state.mode) {
    case InverterMode::off:
      enter(next, InverterMode::starting);
      break;
    case InverterMode::starting:
    case InverterMode::running:
    case InverterMode::standby:
      decide_live(limits, rated_power_VA, input, next, step_s);
      break;
    case InverterMode::stopped:
      decide_stopped(limits, input, next, step_s);
      break;
    case InverterMode::locked:
      break;
  }
  return next;
}

}  // namespace windwright::physics
