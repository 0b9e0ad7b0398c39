// SPDX-License-Identifier: Apache-2.0
#include "bench/generator_table.h"

#include "physics/generator.h"
#include "physics/generator_heat.h"

#include <limits>
#include <string_view>

namespace windwright::bench {

namespace {

using base::Settings;

physics::Generator read_generator(const Settings& table) {
  const auto number = [&table](std::string_view key, double highest) {
    return table.number(key, {.at_least = 0.0, .at_most = highest});
  };
  return {.pole_pairs = table.integer("pole_pairs", {.at_least = 1, .at_most = 200}),
          .flux_linkage_V_s = table.number("flux_linkage_V_s", {.at_most = 100.0, .above = 0.0}),
          .winding_resistance_ohm =
              table.number("winding_resistance_ohm", {.at_most = 1e4, .above = 0.0}),
          .winding_inductance_H = number("winding_inductance_H", 10.0),
          .diode_drop_V = number("diode_drop_V", 5.0),
          .diode_resistance_ohm = number("diode_resistance_ohm", 100.0),
          .bearing_torque_N_m = number("bearing_torque_N_m", 1e3),
          .bearing_viscous_N_m_s = number("bearing_viscous_N_m_s", 10.0),
          .iron_hysteresis_J = number("iron_hysteresis_J", 1e3),
          .iron_eddy_J_s = number("iron_eddy_J_s", 10.0),
          .cogging_torque_N_m = number("cogging_torque_N_m", 1e3)};
}

physics::GeneratorHeat read_heat(const Settings& table) {
  constexpr double zero_celsius_K = 273.15;
  constexpr double copper_C = 235.0;  // IEC 60034-1
  const base::Bounds capacity{.at_most = 1e7, .above = 0.0};
  const base::Bounds conductance{.at_most = 1e5, .above = 0.0};
  physics::GeneratorHeat heat;
  heat.reference_K =
      table.number_or("reference_C", 20.0, {.at_least = -40.0, .at_most = 150.0}) + zero_celsius_K;
  heat.zero_resistance_C =
      table.number_or("zero_resistance_C", copper_C, {.at_least = 200.0, .at_most = 300.0});
  heat.magnet_flux_K1 = table.number("magnet_flux_K1", {.at_least = -0.005, .at_most = 0.0});
  heat.winding_heat_J_K = table.number("winding_heat_J_K", capacity);
  heat.frame_heat_J_K = table.number("frame_heat_J_K", capacity);
  heat.winding_to_frame_W_K = table.number("winding_to_frame_W_K", conductance);
  heat.frame_to_air_W_K = table.number("frame_to_air_W_K", conductance);
  return heat;
}

}  // namespace

void read_generator_table(const Settings& table, Bench& bench) {
  bench.generator = read_generator(table);
  bench.u_loss_relative = table.number("u_loss_pct", {.at_least = 0.0, .at_most = 50.0}) / 100.0;
  bench.smoothing_inductance_H =
      table.number_or("smoothing_inductance_H", std::numeric_limits<double>::infinity(),
                      {.at_most = 1e3, .above = 0.0});
  if (const auto heat = table.optional_table("heat")) bench.generator_heat = read_heat(*heat);
}

}  // namespace windwright::bench
