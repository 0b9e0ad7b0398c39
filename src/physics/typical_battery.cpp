// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "physics/battery.h"

#include <fmt/format.h>

namespace windwright::physics {
namespace {

constexpr double hour_s = 3600.0;
constexpr double month_s = 30.0 * 24.0 * hour_s;

/// One lead-acid cell; per-cell resistances and currents go with the capacity.
Battery flooded(int cells, double capacity_A_s) {
  const double capacity_A_h = capacity_A_s / hour_s;
  return {.kind = BatteryKind::flooded,
          .cells = cells,
          .capacity_A_s = capacity_A_s,
          .reference_time_s = 20.0 * hour_s,
          .available_share = 0.4,
          .exchange_rate_s1 = 1.5 / hour_s,
          .exchange_K1 = 0.03,
          // 11.65 V to 12.67 V for six cells: between the tables of tests/published/data/
          // lead_acid_ocv_soc.csv.
          .open_circuit = {.level_V = 1.942,
                           .slope_V = 0.169,
                           .knee_V = 0.0,
                           .knee_width = 0.05,
                           .rise_V = 0.0,
                           .rise_width = 0.05},
          .open_circuit_V_K = 2.0e-4,
          .cell_resistance_ohm = 0.08 / capacity_A_h,
          .resistance_K1 = -0.01,
          .discharge_polarisation = 0.3,
          .cell_diffusion_resistance_ohm = 0.08 / capacity_A_h,
          .diffusion_time_s = 20.0,
          .charge_polarisation = 8.0,
          .charge_efficiency = 0.95,
          .gassing_current_A = 2.0e-4 * capacity_A_h,
          .gassing_V = 2.23,
          .gassing_slope_V = 1.0 / 11.0,
          .gassing_K1 = 0.06,
          .recombination = 0.0,
          .self_discharge_s1 = 0.01 / month_s,
          .self_discharge_K1 = 0.06,
          .heat_capacity_J_K = 280.0 * capacity_A_h / 6.0 * cells,
          .heat_conductance_W_K = 0.02 * capacity_A_h / 6.0 * cells};
}

}  // namespace

Battery typical_battery(BatteryKind kind, int cells, double capacity_A_s) {
  Battery battery = flooded(cells, capacity_A_s);
  battery.kind = kind;
  switch (kind) {
    case BatteryKind::flooded:
      break;
    case BatteryKind::agm:
      battery.open_circuit.level_V = 1.95;
      battery.open_circuit.slope_V = 0.19;
      battery.cell_resistance_ohm *= 0.6;
      battery.charge_efficiency = 0.97;
      battery.recombination = 0.97;
      battery.gassing_current_A *= 0.5;
      battery.self_discharge_s1 *= 0.5;
      break;
    case BatteryKind::gel:
      battery.open_circuit.level_V = 1.95;
      battery.open_circuit.slope_V = 0.19;
      battery.charge_efficiency = 0.97;
      battery.recombination = 0.97;
      battery.gassing_current_A *= 0.5;
      battery.self_discharge_s1 *= 0.5;
      break;
    case BatteryKind::lithium_iron_phosphate: {
      const double capacity_A_h = capacity_A_s / hour_s;
      battery.available_share = 0.9;
      battery.exchange_rate_s1 = 5.0 / hour_s;
      battery.open_circuit = {.level_V = 3.27,
                              .slope_V = 0.06,
                              .knee_V = 0.5,
                              .knee_width = 0.03,
                              .rise_V = 0.1,
                              .rise_width = 0.01};
      battery.open_circuit_V_K = -1.0e-4;
      battery.cell_resistance_ohm = 0.06 / capacity_A_h;
      battery.resistance_K1 = -0.02;
      battery.discharge_polarisation = 0.02;
      battery.charge_polarisation = 0.02;
      battery.cell_diffusion_resistance_ohm = 0.05 / capacity_A_h;
      battery.diffusion_time_s = 20.0;
      battery.charge_efficiency = 0.998;
      battery.gassing_current_A = 1.0e-3 * capacity_A_h;  // breakdown of the electrolyte
      battery.gassing_V = 4.2;
      battery.gassing_slope_V = 0.05;
      battery.recombination = 1.0;  // sealed: its energy stays as heat
      battery.self_discharge_s1 = 0.02 / month_s;
      battery.heat_capacity_J_K = 25.0 * capacity_A_h * cells;
      battery.heat_conductance_W_K = 0.004 * capacity_A_h * cells;
      break;
    }
  }
  require_battery(battery);
  return battery;
}

}  // namespace windwright::physics
