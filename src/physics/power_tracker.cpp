// SPDX-License-Identifier: Apache-2.0
#include "physics/power_tracker.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <variant>
#include <vector>

namespace windwright::physics {
namespace {

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("power tracker", fmt::format("{} is {}", what, value), right);
}

void require_table(bool good, const char* wrong, const char* right) {
  if (!good) throw base::BadInput("tracking table", wrong, right);
}

TrackerStep observed(const PerturbAndObserve& method, TrackerState state,
                     const TrackerReading& reading, double elapsed_s) {
  require(std::isfinite(method.step_V) && method.step_V > 0.0, "the step", method.step_V,
          "above 0");
  require(method.lowest_V < method.highest_V, "the lowest voltage", method.lowest_V,
          "below the highest");
  const double power_W = reading.input_voltage_V * reading.input_current_A;
  if (!state.started) {
    state.started = true;
    state.demand_V = std::clamp(reading.input_voltage_V, method.lowest_V, method.highest_V);
    state.power_W = power_W;
    state.held_s = 0.0;
    return {.state = state, .demand = {.input_voltage_V = state.demand_V, .input_current_A = {}}};
  }
  state.held_s += elapsed_s;
  // Sums of sample periods fall short of the hold time by rounding.
  if (state.held_s >= method.hold_s - 1e-9 * elapsed_s) {
    if (power_W < state.power_W) state.direction = -state.direction;
    const double wanted_V = state.demand_V + state.direction * method.step_V;
    state.demand_V = std::clamp(wanted_V, method.lowest_V, method.highest_V);
    if (state.demand_V != wanted_V) state.direction = -state.direction;
    state.power_W = power_W;
    state.held_s = 0.0;
  }
  return {.state = state, .demand = {.input_voltage_V = state.demand_V, .input_current_A = {}}};
}

TrackerDemand looked_up(const TrackingTable& table, const TrackerReading& reading) {
  const bool by_frequency = !table.frequency_Hz.empty();
  require_table(by_frequency == table.input_voltage_V.empty(), "it has both keys or none",
                "either frequency_Hz or input_voltage_V");
  const bool to_voltage = !table.demand_voltage_V.empty();
  require_table(to_voltage == table.demand_current_A.empty(), "it has both demands or none",
                "either demand_voltage_V or demand_current_A");
  const std::vector<double>& keys = by_frequency ? table.frequency_Hz : table.input_voltage_V;
  const std::vector<double>& demands = to_voltage ? table.demand_voltage_V : table.demand_current_A;
  require_table(keys.size() >= 2 && keys.size() == demands.size(),
                "its columns differ in length or have fewer than two points",
                "two points or more, as many demands as keys");
  const auto not_rising = [](double a, double b) { return !(a < b); };
  require_table(std::adjacent_find(keys.begin(), keys.end(), not_rising) == keys.end(),
                "its keys do not rise", "ascending keys");
  const double key = std::clamp(by_frequency ? reading.frequency_Hz : reading.input_voltage_V,
                                keys.front(), keys.back());
  std::size_t i = 1;
  while (i + 1 < keys.size() && keys[i] < key)
    ++i;
  const double share = (key - keys[i - 1]) / (keys[i] - keys[i - 1]);
  const double demand = demands[i - 1] + share * (demands[i] - demands[i - 1]);
  TrackerDemand result;
  (to_voltage ? result.input_voltage_V : result.input_current_A) = demand;
  return result;
}

}  // namespace

TrackerStep tracker_step(const TrackingMethod& method, const TrackerState& state,
                         const TrackerReading& reading, double elapsed_s) {
  require(std::isfinite(elapsed_s) && elapsed_s > 0.0, "the time since the last sample", elapsed_s,
          "above 0");
  require(std::isfinite(reading.input_voltage_V) && std::isfinite(reading.input_current_A) &&
              std::isfinite(reading.frequency_Hz),
          "the input voltage", reading.input_voltage_V, "finite, as current and frequency");
  if (const auto* table = std::get_if<TrackingTable>(&method)) {
    return {.state = state, .demand = looked_up(*table, reading)};
  }
  return observed(std::get<PerturbAndObserve>(method), state, reading, elapsed_s);
}

ConverterFlow converter_flow(const Converter& converter, double input_power_W,
                             double output_voltage_V) {
  require(std::isfinite(input_power_W) && input_power_W >= 0.0, "the input power", input_power_W,
          "not negative");
  require(std::isfinite(output_voltage_V) && output_voltage_V > 0.0, "the output voltage",
          output_voltage_V, "above 0");
  for (const double loss : {converter.no_load_W, converter.drop_V, converter.series_ohm}) {
    require(std::isfinite(loss) && loss >= 0.0, "a loss of the converter", loss, "not negative");
  }
  ConverterFlow flow{};
  flow.loss_W = input_power_W;
  const double passed_W = input_power_W - converter.no_load_W;
  if (passed_W <= 0.0) return flow;
  // R I^2 + (V + drop) I = passed power, by the root that keeps its digits for R = 0.
  const double facing_V = output_voltage_V + converter.drop_V;
  const double root_V = std::sqrt(facing_V * facing_V + 4.0 * converter.series_ohm * passed_W);
  flow.output_current_A = 2.0 * passed_W / (facing_V + root_V);
  flow.slope_A_V = -flow.output_current_A / root_V;
  flow.output_power_W = output_voltage_V * flow.output_current_A;
  flow.loss_W = input_power_W - flow.output_power_W;
  flow.efficiency = flow.output_power_W / input_power_W;
  return flow;
}

}  // namespace windwright::physics
