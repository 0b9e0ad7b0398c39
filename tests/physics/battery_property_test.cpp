// SPDX-License-Identifier: Apache-2.0
#include "physics/battery.h"
#include "physics/battery_in_test.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace windwright::physics {
namespace {

double part() {
  // inRange widens with the size of the test; at the nominal size it spans all it is given.
  return *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
}

double spread(double low, double high) {
  return low * std::pow(high / low, part());
}

Battery any_battery() {
  const BatteryKind kind = *rc::gen::element(BatteryKind::flooded, BatteryKind::agm,
                                             BatteryKind::gel, BatteryKind::lithium_iron_phosphate);
  Battery battery = typical_battery(kind, *rc::gen::inRange(1, 25), spread(1e3, 1e7));
  battery.available_share = 0.1 + 0.8 * part();
  battery.exchange_rate_s1 *= spread(0.1, 10.0);
  battery.cell_resistance_ohm *= spread(0.3, 30.0);
  battery.charge_polarisation *= spread(0.1, 10.0);
  battery.charge_efficiency = 0.8 + 0.2 * part();
  battery.gassing_current_A *= spread(0.1, 100.0);
  battery.recombination = part();
  battery.self_discharge_s1 *= spread(0.1, 100.0);
  require_battery(battery);
  return battery;
}

BatteryState any_state(const Battery& battery) {
  const double charge_A_s = tanks(battery).charge_A_s;
  return {.available_A_s = battery.available_share * charge_A_s * part(),
          .bound_A_s = (1.0 - battery.available_share) * charge_A_s * part(),
          .diffusion_V = 0.2 * battery.cells * (2.0 * part() - 1.0),
          .temperature_K = 240.0 + 100.0 * part()};
}

double any_voltage_V(const Battery& battery) {
  return battery.cells * (5.0 * part() - 0.5);
}

RC_GTEST_PROP(Battery, EveryWattIsAccountedForAndNoLossIsNegative, ()) {
  const Battery battery = any_battery();
  const BatteryState state = any_state(battery);
  const BatteryFlow flow = battery_flow(battery, state, any_voltage_V(battery));
  const std::array losses = {flow.ohmic_loss_W, flow.diffusion_loss_W, flow.gassing_loss_W,
                             flow.self_discharge_loss_W};
  double sum_W = flow.chemical_power_W + flow.reversible_heat_W;
  double scale_W = std::abs(flow.chemical_power_W) + std::abs(flow.reversible_heat_W);
  for (const double loss_W : losses) {
    RC_ASSERT(loss_W >= 0.0);
    sum_W -= loss_W;
    scale_W += loss_W;
  }
  RC_ASSERT(std::abs(sum_W - flow.terminal_power_W) <= 1e-13 * scale_W);
  RC_ASSERT(flow.gas_power_W >= 0.0);
  RC_ASSERT(flow.gas_power_W <= flow.gassing_loss_W * (1.0 + 1e-12));
}

RC_GTEST_PROP(Battery, CurrentFallsWithVoltageByTheSlopeTold, ()) {
  const Battery battery = any_battery();
  const BatteryState state = any_state(battery);
  const double voltage_V = any_voltage_V(battery);
  const BatteryFlow at = battery_flow(battery, state, voltage_V);
  const double higher_V = voltage_V + spread(1e-3, 2.0) * battery.cells;
  RC_ASSERT(battery_flow(battery, state, higher_V).current_A <= at.current_A);
  RC_ASSERT(at.slope_A_V <= 0.0);
  const double step_V = 1e-6 * battery.cells;
  const BatteryFlow above = battery_flow(battery, state, voltage_V + step_V);
  const BatteryFlow below = battery_flow(battery, state, voltage_V - step_V);
  // Not across the kink where the main branch turns.
  RC_PRE(above.charging_current_A * below.charging_current_A > 0.0);
  const double measured_A_V = (above.current_A - below.current_A) / (2.0 * step_V);
  RC_ASSERT(std::abs(measured_A_V - at.slope_A_V) <=
            1e-6 * (std::abs(at.slope_A_V) + std::abs(at.current_A) / battery.cells));
}

// The energy stored is a function of the state alone; its rate is what the flow calls chemical
// power, with the sign turned.
RC_GTEST_PROP(Battery, ChemicalPowerIsTheFallOfTheStoredEnergy, ()) {
  const Battery battery = any_battery();
  const BatteryState state = any_state(battery);
  const BatteryFlow flow = battery_flow(battery, state, any_voltage_V(battery));
  const BatteryRates rates = battery_rates(battery, state, flow, room_K);
  // The step moves the levels by 1e-6 at most, and the diffusion voltage by 1e-6 V a cell.
  const double fastest_s1 = (std::abs(rates.available_A) / battery.available_share +
                             std::abs(rates.bound_A) / (1.0 - battery.available_share)) /
                                tanks(battery).charge_A_s +
                            std::abs(rates.diffusion_V_s1) / battery.cells;
  const double step_s = 1e-6 / fastest_s1;
  const auto stored_J = [&](double time_s) {
    return stored_energy_J(battery,
                           {.available_A_s = state.available_A_s + time_s * rates.available_A,
                            .bound_A_s = state.bound_A_s + time_s * rates.bound_A,
                            .diffusion_V = state.diffusion_V + time_s * rates.diffusion_V_s1,
                            .temperature_K = state.temperature_K + time_s * rates.temperature_K_s});
  };
  const double fall_W = (stored_J(-step_s) - stored_J(step_s)) / (2.0 * step_s);
  const double rounding_W = 1e-14 * stored_J(0.0) / step_s;
  RC_ASSERT(std::abs(fall_W - flow.chemical_power_W) <=
            1e-6 * (std::abs(fall_W) + std::abs(flow.terminal_power_W)) + rounding_W);
}

RC_GTEST_PROP(Battery, HeatGoesIntoTheBatteryOrTheRoom, ()) {
  const Battery battery = any_battery();
  const BatteryState state = any_state(battery);
  const BatteryFlow flow = battery_flow(battery, state, any_voltage_V(battery));
  const BatteryRates rates = battery_rates(battery, state, flow, room_K);
  const double kept_W = battery.heat_capacity_J_K * rates.temperature_K_s;
  // First law of the whole battery: what it stores, as heat and as charge, comes in at the
  // terminals or goes out with gas and to the room.
  const double scale_W = std::abs(kept_W) + std::abs(flow.chemical_power_W) +
                         std::abs(flow.terminal_power_W) + std::abs(rates.heat_to_room_W);
  RC_ASSERT(std::abs(kept_W - flow.chemical_power_W + flow.terminal_power_W + flow.gas_power_W +
                     rates.heat_to_room_W) <= 1e-12 * scale_W);
}

RC_GTEST_PROP(Battery, NoVoltageTakesATankPastEmptyOrFull, ()) {
  const Battery battery = any_battery();
  BatteryState state = any_state(battery);
  const double voltage_V = any_voltage_V(battery);
  const auto rates = [&] {
    return battery_rates(battery, state, battery_flow(battery, state, voltage_V), room_K);
  };
  const double charge_A_s = tanks(battery).charge_A_s;
  const BatteryState inside = state;
  state.available_A_s = 0.0;
  RC_ASSERT(rates().available_A >= 0.0);
  state.available_A_s = battery.available_share * charge_A_s;
  RC_ASSERT(rates().available_A <= 1e-12 * charge_A_s);
  state = inside;
  state.bound_A_s = 0.0;
  RC_ASSERT(rates().bound_A >= 0.0);
  state.bound_A_s = (1.0 - battery.available_share) * charge_A_s;
  RC_ASSERT(rates().bound_A <= 1e-12 * charge_A_s);
}

RC_GTEST_PROP(Battery, TheVoltageFoundCarriesTheCurrentAsked, ()) {
  const Battery battery = any_battery();
  const BatteryState state = any_state(battery);
  const double current_A = battery_flow(battery, state, any_voltage_V(battery)).current_A;
  const auto voltage_V = terminal_voltage_V(battery, state, current_A);
  RC_ASSERT(voltage_V.has_value());
  const BatteryFlow got = battery_flow(battery, state, *voltage_V);
  RC_ASSERT(std::abs(got.current_A - current_A) <=
            1e-9 * std::abs(current_A) + 1e-10 * battery.cells * std::abs(got.slope_A_V));
}

RC_GTEST_PROP(Battery, OutlandishInputGivesFiniteOutput, ()) {
  const Battery battery = any_battery();
  BatteryState state = any_state(battery);
  state.available_A_s *= 10.0 * (part() - 0.5);
  state.bound_A_s *= 10.0 * (part() - 0.5);
  state.temperature_K *= 20.0 * part();
  const BatteryFlow flow = battery_flow(battery, state, 2e6 * (part() - 0.5));
  const BatteryRates rates = battery_rates(battery, state, flow, room_K);
  for (const double value :
       {flow.current_A, flow.slope_A_V, flow.terminal_power_W, flow.chemical_power_W,
        flow.gassing_loss_W, rates.available_A, rates.bound_A, rates.diffusion_V_s1,
        rates.temperature_K_s, stored_energy_J(battery, state)}) {
    RC_ASSERT(std::isfinite(value));
  }
}

// A random drive cycle of two hours, the voltage stepping every minute; state and sums by the same
// Runge-Kutta steps, a second each: the batteries are no stiffer than typical ones.
RC_GTEST_PROP(Battery, EnergyAndChargeCloseOverARandomDriveCycle, ()) {
  Battery battery = any_battery();
  const Battery typical = typical_battery(battery.kind, battery.cells, battery.capacity_A_s);
  battery.cell_resistance_ohm = typical.cell_resistance_ohm * spread(1.0, 30.0);
  battery.charge_polarisation = typical.charge_polarisation * spread(1.0, 10.0);
  battery.self_discharge_s1 = 0.0;  // so that charge leaves by the reaction alone
  const double start_charge = 0.1 + 0.8 * part();
  const double charge_A_s = tanks(battery).charge_A_s;
  BatteryRun run{.state = rested_state(battery, start_charge, room_K), .sums = {}};
  const BatteryState begin = run.state;
  double throughput_J = 0.0;
  for (int minute = 0; minute < 120; ++minute) {
    const double voltage_V =
        open_circuit_V(battery, run.state) + 0.4 * battery.cells * (part() - 0.5);
    for (int step = 0; step < 60; ++step) {
      run = after_step(battery, run, 1.0, [&](const BatteryState&) { return voltage_V; });
      throughput_J += std::abs(battery_flow(battery, run.state, voltage_V).terminal_power_W);
    }
    const double slack_A_s = 1e-6 * charge_A_s;
    RC_ASSERT(run.state.available_A_s >= -slack_A_s);
    RC_ASSERT(run.state.available_A_s <= battery.available_share * charge_A_s + slack_A_s);
    RC_ASSERT(run.state.bound_A_s >= -slack_A_s);
    RC_ASSERT(run.state.bound_A_s <= (1.0 - battery.available_share) * charge_A_s + slack_A_s);
  }
  const BatterySums& sums = run.sums;
  const double residual_J = sums.chemical_J + sums.reversible_J - sums.ohmic_J - sums.diffusion_J -
                            sums.gassing_J - sums.self_discharge_J - sums.terminal_J;
  RC_ASSERT(std::abs(residual_J) <= 1e-10 * throughput_J);
  const double heat_J = battery.heat_capacity_J_K * (run.state.temperature_K - room_K);
  RC_ASSERT(std::abs(heat_J + sums.to_room_J + sums.gas_J - sums.chemical_J + sums.terminal_J) <=
            1e-10 * (throughput_J + battery.heat_capacity_J_K * room_K));
  const double left_A_s =
      begin.available_A_s + begin.bound_A_s - run.state.available_A_s - run.state.bound_A_s;
  RC_ASSERT(std::abs(left_A_s - sums.reacted_A_s) <= 1e-10 * charge_A_s);
}

}  // namespace
}  // namespace windwright::physics
