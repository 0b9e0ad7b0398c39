// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"

#include <cmath>

namespace windwright::physics {

constexpr double hour_s = 3600.0;
constexpr double room_K = 298.15;

/// What an energy account adds up beside the state.
struct BatterySums {
  double discharged_A_s = 0.0;  // at the terminals; charging counts negative
  double terminal_J = 0.0;
  double chemical_J = 0.0;
  double reversible_J = 0.0;
  double ohmic_J = 0.0;
  double diffusion_J = 0.0;
  double gassing_J = 0.0;
  double self_discharge_J = 0.0;
  double gas_J = 0.0;
  double to_room_J = 0.0;
  double reacted_A_s = 0.0;  // out of the tanks by the main reaction
};

struct BatteryRun {
  BatteryState state;
  BatterySums sums;
};

/// a + h b, field by field.
inline BatteryRun plus(const BatteryRun& a, double h, const BatteryRun& b) {
  BatteryRun c{};
  const auto add = [h](double x, double y) { return x + h * y; };
  c.state = {.available_A_s = add(a.state.available_A_s, b.state.available_A_s),
             .bound_A_s = add(a.state.bound_A_s, b.state.bound_A_s),
             .diffusion_V = add(a.state.diffusion_V, b.state.diffusion_V),
             .temperature_K = add(a.state.temperature_K, b.state.temperature_K)};
  c.sums = {.discharged_A_s = add(a.sums.discharged_A_s, b.sums.discharged_A_s),
            .terminal_J = add(a.sums.terminal_J, b.sums.terminal_J),
            .chemical_J = add(a.sums.chemical_J, b.sums.chemical_J),
            .reversible_J = add(a.sums.reversible_J, b.sums.reversible_J),
            .ohmic_J = add(a.sums.ohmic_J, b.sums.ohmic_J),
            .diffusion_J = add(a.sums.diffusion_J, b.sums.diffusion_J),
            .gassing_J = add(a.sums.gassing_J, b.sums.gassing_J),
            .self_discharge_J = add(a.sums.self_discharge_J, b.sums.self_discharge_J),
            .gas_J = add(a.sums.gas_J, b.sums.gas_J),
            .to_room_J = add(a.sums.to_room_J, b.sums.to_room_J),
            .reacted_A_s = add(a.sums.reacted_A_s, b.sums.reacted_A_s)};
  return c;
}

/// Rates of all of it, in the fields of what they are rates of.
inline BatteryRun rates_at(const Battery& battery, const BatteryState& state, double voltage_V) {
  const BatteryFlow flow = battery_flow(battery, state, voltage_V);
  const BatteryRates rates = battery_rates(battery, state, flow, room_K);
  BatteryRun run{};
  run.state.available_A_s += rates.available_A;
  run.state.bound_A_s += rates.bound_A;
  run.state.diffusion_V += rates.diffusion_V_s1;
  run.state.temperature_K += rates.temperature_K_s;
  run.sums.discharged_A_s += flow.current_A;
  run.sums.terminal_J += flow.terminal_power_W;
  run.sums.chemical_J += flow.chemical_power_W;
  run.sums.reversible_J += flow.reversible_heat_W;
  run.sums.ohmic_J += flow.ohmic_loss_W;
  run.sums.diffusion_J += flow.diffusion_loss_W;
  run.sums.gassing_J += flow.gassing_loss_W;
  run.sums.self_discharge_J += flow.self_discharge_loss_W;
  run.sums.gas_J += flow.gas_power_W;
  run.sums.to_room_J += rates.heat_to_room_W;
  run.sums.reacted_A_s += flow.reaction_current_A;
  return run;
}

/// One step of the classical Runge-Kutta method; `voltage` gives the terminal voltage of a state.
template <typename Voltage>
BatteryRun after_step(const Battery& battery, const BatteryRun& run, double step_s,
                      const Voltage& voltage) {
  const auto rates = [&](const BatteryRun& at) {
    return rates_at(battery, at.state, voltage(at.state));
  };
  const BatteryRun k1 = rates(run);
  const BatteryRun k2 = rates(plus(run, 0.5 * step_s, k1));
  const BatteryRun k3 = rates(plus(run, 0.5 * step_s, k2));
  const BatteryRun k4 = rates(plus(run, step_s, k3));
  BatteryRun next = plus(run, step_s / 6.0, k1);
  next = plus(next, step_s / 3.0, k2);
  next = plus(next, step_s / 3.0, k3);
  return plus(next, step_s / 6.0, k4);
}

/// Constant current to a cut-off, or to the end of the time; a current that no voltage carries ends
/// it too.
inline BatteryRun discharged(const Battery& battery, BatteryRun run, double current_A,
                             double cut_off_V, double* time_s) {
  const double step_s = 0.0005 * battery.capacity_A_s / std::abs(current_A);
  *time_s = 0.0;
  for (;;) {
    const auto voltage_V = terminal_voltage_V(battery, run.state, current_A);
    if (!voltage_V || *voltage_V < cut_off_V) return run;
    run = after_step(battery, run, step_s, [&](const BatteryState& state) {
      return terminal_voltage_V(battery, state, current_A).value_or(cut_off_V);
    });
    *time_s += step_s;
  }
}

}  // namespace windwright::physics
