// SPDX-License-Identifier: Apache-2.0
#include "physics/mains_charger.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace windwright::physics {
namespace {

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("mains charger", fmt::format("{} is {}", what, value), right);
}

void require_charger(const MainsCharger& charger) {
  require(charger.highest_current_A > 0.0, "the highest current", charger.highest_current_A,
          "above 0");
  require(charger.float_V > 0.0 && charger.float_V <= charger.absorption_V, "the float voltage",
          charger.float_V, "above 0 and at most the absorption voltage");
  require(charger.regulation_ohm > 0.0, "the regulation resistance", charger.regulation_ohm,
          "above 0");
  require(charger.efficiency > 0.0 && charger.efficiency <= 1.0, "the efficiency",
          charger.efficiency, "in (0, 1]");
  require(charger.no_load_W >= 0.0, "the no-load loss", charger.no_load_W, "not negative");
  require(charger.end_current_A >= 0.0, "the end current", charger.end_current_A, "not negative");
}

}  // namespace

MainsChargerFlow mains_charger_flow(const MainsCharger& charger, const MainsChargerState& state,
                                    double battery_voltage_V) {
  require_charger(charger);
  require(std::isfinite(battery_voltage_V) && battery_voltage_V >= 0.0, "the battery voltage",
          battery_voltage_V, "not negative");
  const double set_V = state.floating ? charger.float_V : charger.absorption_V;
  const double wanted_A = (set_V - battery_voltage_V) / charger.regulation_ohm;
  MainsChargerFlow flow{};
  flow.current_A = std::clamp(wanted_A, 0.0, charger.highest_current_A);
  flow.slope_A_V = wanted_A == flow.current_A ? -1.0 / charger.regulation_ohm : 0.0;
  flow.output_power_W = battery_voltage_V * flow.current_A;
  flow.loss_W = flow.output_power_W * (1.0 / charger.efficiency - 1.0) + charger.no_load_W;
  flow.mains_power_W = flow.output_power_W + flow.loss_W;
  return flow;
}

MainsChargerState mains_charger_step(const MainsCharger& charger, const MainsChargerState& state,
                                     double current_A, double elapsed_s) {
  require_charger(charger);
  require(std::isfinite(elapsed_s) && elapsed_s > 0.0, "the time since the last sample", elapsed_s,
          "above 0");
  MainsChargerState next = state;
  next.below_end_s = current_A < charger.end_current_A ? state.below_end_s + elapsed_s : 0.0;
  if (next.below_end_s >= charger.end_delay_s) next.floating = true;
  return next;
}

}  // namespace windwright::physics
