// SPDX-License-Identifier: Apache-2.0
#include "physics/battery.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

namespace windwright::physics {
namespace {

constexpr double reference_K = 298.15;
// Enthalpy of splitting water, per electron: what leaves with the gas (CRC Handbook, 285.8 kJ/mol
// over 2 F).
constexpr double thermoneutral_V = 1.481;
constexpr double highest_exponent = 20.0;
// How near to full the main branch closes in charge: its resistance has doubled at a level of 1 /
// (1 + this). Only a bound; the overvoltage of charging is the diffusion's.
constexpr double acceptance_limit = 0.02;
constexpr double highest_terminal_V = 1e6;

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("battery", fmt::format("{} is {}", what, value), right);
}

double excess_K(double temperature_K) {
  return std::clamp(temperature_K, 223.15, 373.15) - reference_K;
}

/// One cell's open-circuit voltage at the reference temperature, and its slope.
struct CurvePoint {
  double voltage_V;
  double slope_V;
};

/// The curve goes on straight beyond empty and full.
CurvePoint curve_at(const OpenCircuitCurve& c, double s) {
  const double end = std::clamp(s, 0.0, 1.0);
  const double knee = c.knee_V * std::exp(-end / c.knee_width);
  const double rise = c.rise_V * std::exp(-(1.0 - end) / c.rise_width);
  const double slope_V = c.slope_V + knee / c.knee_width + rise / c.rise_width;
  return {.voltage_V = c.level_V + c.slope_V * end - knee + rise + (s - end) * slope_V,
          .slope_V = slope_V};
}

/// Its integral from 0.
double integral_V(const OpenCircuitCurve& c, double s) {
  const double end = std::clamp(s, 0.0, 1.0);
  const double knee = c.knee_V * std::expm1(-end / c.knee_width);
  const double rise =
      c.rise_V * (std::exp(-(1.0 - end) / c.rise_width) - std::exp(-1.0 / c.rise_width));
  const double beyond = s - end;
  const CurvePoint at_end = curve_at(c, end);
  return end * (c.level_V + 0.5 * c.slope_V * end) + knee * c.knee_width + rise * c.rise_width +
         beyond * (at_end.voltage_V + 0.5 * beyond * at_end.slope_V);
}

/// What the equations need of the state, worked out once.
struct Levels {
  KineticTanks tanks;
  double available;  // y1 / (c Q)
  double bound;
  double excess_K;
};

Levels levels_of(const Battery& battery, const BatteryState& state) {
  KineticTanks all = tanks(battery);
  const double excess = excess_K(state.temperature_K);
  const double share = all.available_share;
  all.exchange_rate_s1 *= std::exp(battery.exchange_K1 * excess);
  return {.tanks = all,
          .available = state.available_A_s / (share * all.charge_A_s),
          .bound = state.bound_A_s / ((1.0 - share) * all.charge_A_s),
          .excess_K = excess};
}

/// Enthalpy a coulomb of one cell stands for at a level: the voltage less its entropy's share.
double enthalpy_V(const Battery& battery, double level) {
  return curve_at(battery.open_circuit, level).voltage_V - reference_K * battery.open_circuit_V_K;
}

/// Of the diffusion at the reference temperature and without polarisation. Its time constant over
/// it is a capacitance that does not change: so its energy is a function of its voltage alone.
double diffusion_ohm(const Battery& battery) {
  return battery.cells * battery.cell_diffusion_resistance_ohm;
}

/// Current through the diffusion resistance.
/// @param warmth  conductances over those at the reference temperature
double diffusion_current_A(const Battery& battery, const Levels& levels, double warmth,
                           double diffusion_V) {
  const double a = std::clamp(levels.available, 0.0, 1.0);
  const double share =
      diffusion_V < 0.0 ? (1.0 - a) / (1.0 - a + battery.charge_polarisation * a) : 1.0;
  return diffusion_V * share * warmth / diffusion_ohm(battery);
}

double self_discharge_s1(const Battery& battery, double excess) {
  return battery.self_discharge_s1 * std::exp(battery.self_discharge_K1 * excess);
}

/// A current and its slope over the terminal voltage.
struct Branch {
  double current_A;
  double slope_A_V;
};

/// @param drive_V  open-circuit less diffusion less terminal voltage
Branch main_branch(const Battery& battery, const BatteryPoint& point, double drive_V) {
  const double a = std::clamp(point.available_level, 0.0, 1.0);
  const double conductance = point.conductance_S;
  // As conductances, which are 0 where the resistance has no bound.
  const double share = drive_V >= 0.0 ? a / (a + battery.discharge_polarisation * (1.0 - a))
                                      : (1.0 - a) / (1.0 - a + acceptance_limit * a);
  return {.current_A = conductance * share * drive_V, .slope_A_V = -conductance * share};
}

/// Tafel's law, less its value at no voltage: a dead short makes no gas.
Branch gassing_branch(const Battery& battery, const BatteryPoint& point, double terminal_V) {
  const double per_e_fold_V = battery.cells * battery.gassing_slope_V;
  const double exponent = point.gassing_exponent + terminal_V / per_e_fold_V;
  const double power = std::exp(std::min(exponent, highest_exponent));
  const double growth = power * (1.0 + std::max(0.0, exponent - highest_exponent));
  return {.current_A = battery.gassing_current_A * (growth - point.gassing_at_0),
          .slope_A_V = battery.gassing_current_A * power / per_e_fold_V};
}

}  // namespace

void require_battery(const Battery& battery) {
  const auto above_0 = [](const char* what, double value) {
    require(std::isfinite(value) && value > 0.0, what, value, "above 0");
  };
  const auto not_negative = [](const char* what, double value) {
    require(std::isfinite(value) && value >= 0.0, what, value, "not negative");
  };
  const auto share = [](const char* what, double value) {
    require(value >= 0.0 && value <= 1.0, what, value, "in [0, 1]");
  };
  require(battery.cells >= 1, "the number of cells", battery.cells, "at least 1");
  above_0("the capacity", battery.capacity_A_s);
  above_0("the reference time", battery.reference_time_s);
  require(battery.available_share > 0.0 && battery.available_share < 1.0, "the available share",
          battery.available_share, "in (0, 1)");
  above_0("the exchange rate", battery.exchange_rate_s1);
  above_0("the level of the open-circuit curve", battery.open_circuit.level_V);
  not_negative("the slope of the open-circuit curve", battery.open_circuit.slope_V);
  not_negative("the knee of the open-circuit curve", battery.open_circuit.knee_V);
  above_0("the width of the knee", battery.open_circuit.knee_width);
  not_negative("the rise of the open-circuit curve", battery.open_circuit.rise_V);
  above_0("the width of the rise", battery.open_circuit.rise_width);
  above_0("the cell's resistance", battery.cell_resistance_ohm);
  above_0("the polarisation in discharge", battery.discharge_polarisation);
  above_0("the polarisation in charge", battery.charge_polarisation);
  above_0("the cell's diffusion resistance", battery.cell_diffusion_resistance_ohm);
  above_0("the diffusion time", battery.diffusion_time_s);
  share("the charge efficiency", battery.charge_efficiency);
  not_negative("the gassing current", battery.gassing_current_A);
  above_0("the gassing voltage", battery.gassing_V);
  above_0("the gassing slope", battery.gassing_slope_V);
  share("the recombination", battery.recombination);
  not_negative("the self-discharge", battery.self_discharge_s1);
  above_0("the heat capacity", battery.heat_capacity_J_K);
  not_negative("the heat conductance", battery.heat_conductance_W_K);
  for (const double coefficient : {battery.exchange_K1, battery.resistance_K1, battery.gassing_K1,
                                   battery.self_discharge_K1}) {
    require(std::abs(coefficient) <= 0.5, "a temperature coefficient", coefficient,
            "within 0.5 a kelvin");
  }
  require(std::abs(battery.open_circuit_V_K) <= 0.01, "the open-circuit voltage's coefficient",
          battery.open_circuit_V_K, "within 0.01 V a kelvin");
}

KineticTanks tanks(const Battery& battery) {
  KineticTanks result{.charge_A_s = battery.capacity_A_s,
                      .available_share = battery.available_share,
                      .exchange_rate_s1 = battery.exchange_rate_s1};
  result.charge_A_s /= deliverable_share(result, battery.reference_time_s);
  return result;
}

BatteryState rested_state(const Battery& battery, double state_of_charge, double temperature_K) {
  require_battery(battery);
  require(state_of_charge >= 0.0 && state_of_charge <= 1.0, "the state of charge", state_of_charge,
          "in [0, 1]");
  require(std::isfinite(temperature_K) && temperature_K > 0.0, "the temperature", temperature_K,
          "above 0 K");
  const double charge_A_s = state_of_charge * tanks(battery).charge_A_s;
  return {.available_A_s = battery.available_share * charge_A_s,
          .bound_A_s = (1.0 - battery.available_share) * charge_A_s,
          .diffusion_V = 0.0,
          .temperature_K = temperature_K};
}

double state_of_charge(const Battery& battery, const BatteryState& state) {
  return (state.available_A_s + state.bound_A_s) / tanks(battery).charge_A_s;
}

double open_circuit_V(const Battery& battery, const BatteryState& state) {
  const Levels levels = levels_of(battery, state);
  return battery.cells * (curve_at(battery.open_circuit, levels.available).voltage_V +
                          battery.open_circuit_V_K * levels.excess_K);
}

double open_circuit_V(const Battery& battery, const BatteryPoint& point) {
  return battery.cells *
         (point.enthalpy_available_V + battery.open_circuit_V_K * (reference_K + point.excess_K));
}

double open_circuit_slope_V(const Battery& battery, double state_of_charge) {
  return battery.cells * curve_at(battery.open_circuit, state_of_charge).slope_V;
}

double stored_energy_J(const Battery& battery, const BatteryState& state) {
  const Levels levels = levels_of(battery, state);
  const double share = levels.tanks.available_share;
  const double entropy_V = reference_K * battery.open_circuit_V_K;
  const auto energy_V = [&](double level) {
    return integral_V(battery.open_circuit, level) - entropy_V * level;
  };
  return battery.cells * levels.tanks.charge_A_s *
             (share * energy_V(levels.available) + (1.0 - share) * energy_V(levels.bound)) +
         // As a capacitance that does not change with temperature: a function of its voltage alone.
         0.5 * state.diffusion_V * state.diffusion_V * battery.diffusion_time_s /
             diffusion_ohm(battery);
}

BatteryPoint battery_point(const Battery& battery, const BatteryState& state) {
  require(std::isfinite(state.available_A_s + state.bound_A_s + state.diffusion_V +
                        state.temperature_K),
          "the sum of the state", state.available_A_s + state.bound_A_s, "finite");
  const Levels levels = levels_of(battery, state);
  const double warmth = std::exp(-battery.resistance_K1 * levels.excess_K);
  const double gassing_exponent =
      battery.gassing_K1 * levels.excess_K - battery.gassing_V / battery.gassing_slope_V;
  return {.state = state,
          .tanks = levels.tanks,
          .available_level = levels.available,
          .excess_K = levels.excess_K,
          .enthalpy_available_V = enthalpy_V(battery, levels.available),
          .enthalpy_bound_V = enthalpy_V(battery, levels.bound),
          .conductance_S = warmth / (battery.cells * battery.cell_resistance_ohm),
          .diffusion_current_A = diffusion_current_A(battery, levels, warmth, state.diffusion_V),
          .exchange_A = exchange_current_A(levels.tanks, {state.available_A_s, state.bound_A_s}),
          .self_discharge_s1 = self_discharge_s1(battery, levels.excess_K),
          .gassing_exponent = gassing_exponent,
          .gassing_at_0 = std::exp(gassing_exponent)};
}

BatteryFlow battery_flow(const Battery& battery, const BatteryPoint& point,
                         double terminal_voltage_V) {
  require(std::abs(terminal_voltage_V) <= highest_terminal_V, "the terminal voltage",
          terminal_voltage_V, "within 1e6 V");
  const BatteryState& state = point.state;
  const double cells = battery.cells;
  const double entropic_V = battery.open_circuit_V_K * (reference_K + point.excess_K);
  const double open_V = open_circuit_V(battery, point);
  const double drive_V = open_V - state.diffusion_V - terminal_voltage_V;
  const Branch branch = main_branch(battery, point, drive_V);
  const Branch gassing = gassing_branch(battery, point, terminal_voltage_V);
  // While charging, a part of the main branch misses the tank and makes gas instead.
  const double missed_A =
      branch.current_A < 0.0 ? (battery.charge_efficiency - 1.0) * branch.current_A : 0.0;
  const double reaction_A = branch.current_A + missed_A;
  const double diffusion_W = state.diffusion_V * point.diffusion_current_A;
  const double exchange_W =
      cells * (point.enthalpy_bound_V - point.enthalpy_available_V) * point.exchange_A;

  BatteryFlow flow{};
  flow.current_A = branch.current_A - gassing.current_A;
  flow.slope_A_V = branch.slope_A_V - gassing.slope_A_V;
  flow.reaction_current_A = reaction_A;
  flow.charging_current_A = branch.current_A;
  flow.gassing_current_A = gassing.current_A + missed_A;
  flow.terminal_power_W = terminal_voltage_V * flow.current_A;
  flow.self_discharge_loss_W =
      cells * point.self_discharge_s1 *
      (point.enthalpy_available_V * state.available_A_s + point.enthalpy_bound_V * state.bound_A_s);
  flow.reversible_heat_W = cells * entropic_V * reaction_A;
  flow.ohmic_loss_W = drive_V * branch.current_A;
  flow.diffusion_loss_W = diffusion_W + exchange_W;
  flow.chemical_power_W = cells * point.enthalpy_available_V * reaction_A + exchange_W +
                          flow.self_discharge_loss_W - state.diffusion_V * branch.current_A +
                          diffusion_W;
  flow.gassing_loss_W = terminal_voltage_V * gassing.current_A + open_V * missed_A;
  const double splitting_V = cells * thermoneutral_V;
  flow.gas_power_W = (1.0 - battery.recombination) *
                     (std::clamp(terminal_voltage_V, 0.0, splitting_V) * gassing.current_A +
                      std::min(open_V, splitting_V) * missed_A);
  return flow;
}

BatteryRates battery_rates(const Battery& battery, const BatteryPoint& point,
                           const BatteryFlow& flow, double room_temperature_K) {
  const BatteryState& state = point.state;
  BatteryRates rates{};
  rates.available_A =
      point.exchange_A - flow.reaction_current_A - point.self_discharge_s1 * state.available_A_s;
  rates.bound_A = -point.exchange_A - point.self_discharge_s1 * state.bound_A_s;
  rates.diffusion_V_s1 = (flow.charging_current_A - point.diffusion_current_A) *
                         diffusion_ohm(battery) / battery.diffusion_time_s;
  rates.heat_W = flow.ohmic_loss_W + flow.diffusion_loss_W + flow.gassing_loss_W +
                 flow.self_discharge_loss_W - flow.gas_power_W - flow.reversible_heat_W;
  rates.heat_to_room_W = battery.heat_conductance_W_K * (state.temperature_K - room_temperature_K);
  rates.temperature_K_s = (rates.heat_W - rates.heat_to_room_W) / battery.heat_capacity_J_K;
  return rates;
}

BatteryFlow battery_flow(const Battery& battery, const BatteryState& state,
                         double terminal_voltage_V) {
  return battery_flow(battery, battery_point(battery, state), terminal_voltage_V);
}

BatteryRates battery_rates(const Battery& battery, const BatteryState& state,
                           const BatteryFlow& flow, double room_temperature_K) {
  return battery_rates(battery, battery_point(battery, state), flow, room_temperature_K);
}

std::optional<double> terminal_voltage_V(const Battery& battery, const BatteryState& state,
                                         double current_A) {
  double low_V = -10.0 * battery.cells;
  double high_V = 10.0 * battery.cells;
  if (battery_flow(battery, state, low_V).current_A < current_A ||
      battery_flow(battery, state, high_V).current_A > current_A) {
    return std::nullopt;
  }
  const BatteryPoint point = battery_point(battery, state);
  double voltage_V = open_circuit_V(battery, state) - state.diffusion_V;
  for (int step = 0; step < 200 && high_V - low_V > 1e-12 * battery.cells; ++step) {
    if (!(voltage_V > low_V && voltage_V < high_V)) voltage_V = 0.5 * (low_V + high_V);
    const BatteryFlow flow = battery_flow(battery, point, voltage_V);
    const double excess_A = flow.current_A - current_A;
    if (excess_A == 0.0) return voltage_V;
    (excess_A > 0.0 ? low_V : high_V) = voltage_V;
    const double change_V = excess_A / -flow.slope_A_V;
    voltage_V += change_V;
    if (std::abs(change_V) < 1e-12 * battery.cells) break;
  }
  return voltage_V;
}

Battery with_fault(const Battery& battery, const BatteryFault& fault) {
  require(fault.shorted_cells >= 0 && fault.shorted_cells < battery.cells, "the shorted cells",
          fault.shorted_cells, "at least 0 and fewer than the cells");
  const int left = battery.cells - fault.shorted_cells;
  require(fault.sulphated_cells >= 0 && fault.sulphated_cells <= left, "the sulphated cells",
          fault.sulphated_cells, "at least 0 and no more than the cells that are not shorted");
  require(std::isfinite(fault.resistance_factor) && fault.resistance_factor >= 1.0,
          "the resistance factor", fault.resistance_factor, "at least 1");
  require(fault.lost_capacity >= 0.0 && fault.lost_capacity < 1.0, "the lost capacity",
          fault.lost_capacity, "in [0, 1)");
  Battery faulty = battery;
  faulty.cells = left;
  faulty.capacity_A_s *= 1.0 - fault.lost_capacity;
  faulty.cell_resistance_ohm *=
      1.0 + (fault.resistance_factor - 1.0) * fault.sulphated_cells / left;
  return faulty;
}

BatteryState state_with_fault(const Battery& battery, const BatteryFault& fault,
                              const BatteryState& state) {
  BatteryState changed = state;
  changed.available_A_s *= 1.0 - fault.lost_capacity;
  changed.bound_A_s *= 1.0 - fault.lost_capacity;
  changed.diffusion_V *= static_cast<double>(battery.cells - fault.shorted_cells) / battery.cells;
  return changed;
}

}  // namespace windwright::physics
