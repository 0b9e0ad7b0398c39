// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery_in_test.h"
#include "physics/charge_controller.h"

#include <algorithm>
#include <limits>
#include <vector>

namespace windwright::physics {

/// A source of constant current, a battery, a dump load and loads on one bus.
struct ChargingBench {
  Battery battery;
  ChargeController controller;
  double source_A;
  double dump_ohm = std::numeric_limits<double>::infinity();
  double load_A = 0.0;  // what is not carried is dropped
};

struct ChargingPoint {
  double time_s;
  ControllerOutput output;
  double voltage_V;
  double charging_A;
  double temperature_K;
};

struct Charging {
  BatteryRun run;
  ControllerState state;
  std::vector<ChargingPoint> points;  // one a sample
};

/// The bus voltage at which all currents add up to nothing; the sum falls with the voltage.
inline double bus_voltage_V(const ChargingBench& bench, const BatteryState& state,
                            const ControllerOutput& output) {
  double source_A = output.source_share * bench.source_A;
  source_A = std::min(source_A, output.output_current_limit_A);
  const double load_A = output.loads_connected ? bench.load_A : 0.0;
  double low_V = 0.0;
  double high_V = 10.0 * bench.battery.cells;
  double voltage_V = open_circuit_V(bench.battery, state);
  for (int step = 0; step < 100; ++step) {
    const BatteryFlow flow = battery_flow(bench.battery, state, voltage_V);
    const double sum_A =
        flow.current_A + source_A - load_A - output.dump_share * voltage_V / bench.dump_ohm;
    (sum_A > 0.0 ? low_V : high_V) = voltage_V;
    const double next_V = voltage_V - sum_A / (flow.slope_A_V - output.dump_share / bench.dump_ohm);
    const double kept_V = next_V > low_V && next_V < high_V ? next_V : 0.5 * (low_V + high_V);
    if (std::abs(kept_V - voltage_V) < 1e-10) return kept_V;
    voltage_V = kept_V;
  }
  return voltage_V;
}

/// Runs controller and battery for a time; each sample decides from what the last one left.
inline Charging charged(const ChargingBench& bench, Charging charging, double hours) {
  ControllerInput input{};
  const auto outlet = [&](const ControllerOutput& output) {
    return [&bench, &output](const BatteryState& state) {
      return bus_voltage_V(bench, state, output);
    };
  };
  ControllerOutput output{};
  output.source_share = 1.0;
  output.loads_connected = charging.state.loads_connected;
  output.output_current_limit_A = std::numeric_limits<double>::infinity();
  if (!charging.points.empty()) output = charging.points.back().output;
  const double begin_s = charging.points.empty() ? 0.0 : charging.points.back().time_s;
  const double period_s = bench.controller.sample_period_s;
  for (double time_s = begin_s + period_s; time_s <= begin_s + hours * hour_s; time_s += period_s) {
    input.battery_voltage_V = bus_voltage_V(bench, charging.run.state, output);
    input.battery_temperature_K = charging.run.state.temperature_K;
    input.charging_current_A =
        -battery_flow(bench.battery, charging.run.state, input.battery_voltage_V).current_A;
    charging.points.push_back({.time_s = time_s,
                               .output = output,
                               .voltage_V = input.battery_voltage_V,
                               .charging_A = input.charging_current_A,
                               .temperature_K = input.battery_temperature_K});
    const ControllerStep step = controller_step(bench.controller, charging.state, input);
    charging.state = step.state;
    output = step.output;
    charging.points.back().output = output;
    charging.run = after_step(bench.battery, charging.run, period_s, outlet(output));
  }
  return charging;
}

}  // namespace windwright::physics
