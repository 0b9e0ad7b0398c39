// SPDX-License-Identifier: Apache-2.0
#include "physics/load_set.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/lamp.h"
#include "physics/led_lamp.h"
#include "physics/load_flow.h"
#include "physics/motor.h"
#include "physics/rheostat.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <variant>

namespace windwright::physics {
namespace {

template <class... F>
struct Cases : F... {
  using F::operator()...;
};
template <class... F>
Cases(F...) -> Cases<F...>;

[[noreturn]] void refuse(const char* load, const char* wrong, const char* right) {
  throw base::BadInput(load, wrong, right);
}

// What a resistance with heat does with electrical power fed to it: the split and its rate.
struct Heated {
  PowerSplit power;
  LoadRates rates;
};

Heated heated(const Rheostat& rheostat, double temperature_K, double fed_W, double room_K) {
  const double heat_W = rheostat_heat_W(rheostat, temperature_K, room_K);
  Heated result;
  result.power.electrical_W = fed_W;
  result.power.heat_W = heat_W;
  result.power.stored_W = fed_W - heat_W;
  result.rates.temperature_K_s = result.power.stored_W / rheostat.heat_capacity_J_K;
  return result;
}

Heated heated(const Lamp& lamp, double temperature_K, double fed_W, double room_K) {
  const LampLoss loss = lamp_loss(lamp, temperature_K, room_K);
  Heated result;
  result.power.electrical_W = fed_W;
  result.power.heat_W = loss.conducted_W;
  result.power.radiated_W = loss.radiated_W;
  result.power.stored_W = fed_W - loss.radiated_W - loss.conducted_W;
  result.rates.temperature_K_s = result.power.stored_W / lamp.heat_capacity_J_K;
  return result;
}

double resistance_at(const Rheostat& rheostat, double temperature_K) {
  return rheostat_resistance_ohm(rheostat, temperature_K);
}
double resistance_at(const Lamp& lamp, double temperature_K) {
  return lamp_resistance_ohm(lamp, temperature_K);
}

template <class Resistor>
DcFlow resistor_dc_flow(const Resistor& load, double temperature_K, double voltage_V,
                        double room_K) {
  const double resistance_ohm = resistance_at(load, temperature_K);
  DcFlow flow;
  flow.current_A = voltage_V / resistance_ohm;
  flow.slope_S = 1.0 / resistance_ohm;
  const Heated heat = heated(load, temperature_K, voltage_V * flow.current_A, room_K);
  flow.power = heat.power;
  flow.rates = heat.rates;
  return flow;
}

template <class Resistor>
AcFlow resistor_ac_flow(const Resistor& load, double temperature_K, const AcSupply& supply,
                        double room_K) {
  AcFlow flow;
  flow.resistance_ohm = resistance_at(load, temperature_K);
  flow.rms_current_A = rms_V(supply) / flow.resistance_ohm;
  const Heated heat = heated(load, temperature_K, rms_V(supply) * flow.rms_current_A, room_K);
  flow.power = heat.power;
  flow.rates = heat.rates;
  flow.active_slope_A = 2.0 * flow.rms_current_A;
  return flow;
}

DcFlow coasting(const Shaft& shaft, double speed_rad_s) {
  const ShaftFlow turning = shaft_flow(shaft, speed_rad_s, 0.0);
  DcFlow flow;
  flow.power.heat_W = turning.friction_W;
  flow.power.mechanical_W = turning.driven_W;
  flow.power.stored_W = turning.stored_W;
  flow.rates.speed_rad_s2 = turning.speed_rad_s2;
  return flow;
}

void add(PowerSplit& sum, const PowerSplit& part, double count) {
  sum.electrical_W += count * part.electrical_W;
  sum.heat_W += count * part.heat_W;
  sum.radiated_W += count * part.radiated_W;
  sum.mechanical_W += count * part.mechanical_W;
  sum.stored_W += count * part.stored_W;
}

void need(bool right, const char* where, const char* wrong, const char* what) {
  if (!right) throw base::BadInput(where, wrong, what);
}

// Currents of one bus: a conductance, phasors, and what lies above the highest order.
struct Currents {
  double conductance_S = 0.0;
  double other_W = 0.0;  // active power of all but the conductance
  Harmonics harmonics_A{};
  double rest_A = 0.0;
};

double rest_A(const AcFlow& flow) {
  double square_A2 = flow.rms_current_A * flow.rms_current_A;
  for (const std::complex<double>& phasor : flow.harmonics_A)
    square_A2 -= std::norm(phasor);
  return std::sqrt(std::max(0.0, square_A2));
}

void add(Currents& sum, const AcFlow& flow, double count) {
  if (std::isfinite(flow.resistance_ohm)) {
    sum.conductance_S += count / flow.resistance_ohm;
    return;
  }
  sum.other_W += count * flow.power.electrical_W;
  for (std::size_t i = 0; i < harmonic_orders; ++i)
    sum.harmonics_A[i] += count * flow.harmonics_A[i];
  sum.rest_A += count * rest_A(flow);
}

// A conductance draws the voltage's own wave form, so its cross term is the others' active power.
double total_A(const Currents& sum, double supply_V) {
  const double conducted_A = sum.conductance_S * supply_V;
  double square_A2 =
      conducted_A * conducted_A + 2.0 * sum.conductance_S * sum.other_W + sum.rest_A * sum.rest_A;
  for (const std::complex<double>& phasor : sum.harmonics_A)
    square_A2 += std::norm(phasor);
  return std::sqrt(std::max(0.0, square_A2));
}

// Of the loads that are on; those that are off add their powers to total alone.
struct AcSum {
  AcTotal total;
  Currents currents;
};

void add(AcSum& sum, const AcFlow& flow, double count) {
  add(sum.currents, flow, count);
  add(sum.total.power, flow.power, count);
  sum.total.reactive_power_var += count * flow.reactive_power_var;
  sum.total.active_slope_A += count * flow.active_slope_A;
}

AcTotal completed(const AcSum& sum, const AcSupply& supply) {
  AcTotal total = sum.total;
  total.active_power_W = total.power.electrical_W;
  total.rms_current_A = total_A(sum.currents, rms_V(supply));
  total.apparent_power_VA = rms_V(supply) * total.rms_current_A;
  return total;
}

}  // namespace

void check(const Load& load) {
  std::visit(Cases{[](const Rheostat& r) {
                     need(r.resistance_ohm > 0.0, "rheostat", "resistance is not above 0",
                          "above 0 ohm");
                     need(r.rated_power_W > 0.0 && r.rated_rise_K > 0.0, "rheostat",
                          "rated power or rise is not above 0", "above 0");
                     need(r.heat_capacity_J_K > 0.0, "rheostat", "heat capacity is not above 0",
                          "above 0 J/K");
                   },
                   [](const Lamp& l) {
                     need(l.rated_voltage_V > 0.0 && l.rated_power_W > 0.0, "lamp",
                          "rated voltage or power is not above 0", "above 0");
                     need(l.rated_temperature_K > 1000.0 && l.rated_temperature_K < 3695.0, "lamp",
                          "rated temperature is not that of a glowing filament", "1000 to 3695 K");
                     need(l.heat_capacity_J_K > 0.0, "lamp", "heat capacity is not above 0",
                          "above 0 J/K");
                   },
                   [](const auto& other) { physics::check(other); }},
             load);
}

DcFlow dc_flow(const Load& load, const LoadState& state, double voltage_V,
               double room_temperature_K) {
  need(std::isfinite(voltage_V), "load", "voltage is not finite", "a number of volts");
  return std::visit(
      Cases{[&](const Rheostat& r) {
              return resistor_dc_flow(r, state.temperature_K, voltage_V, room_temperature_K);
            },
            [&](const Lamp& l) {
              return resistor_dc_flow(l, state.temperature_K, voltage_V, room_temperature_K);
            },
            [&](const LedLamp& l) { return led_dc_flow(l, state.capacitor_J, voltage_V); },
            [&](const DcMotor& m) { return motor_dc_flow(m, state.speed_rad_s, voltage_V); },
            [](const AcFan&) -> DcFlow {
              refuse("AC fan", "it is connected to DC terminals", "AC terminals");
            }},
      load);
}

AcFlow ac_flow(const Load& load, const LoadState& state, const AcSupply& supply,
               double room_temperature_K) {
  check(supply);
  return std::visit(
      Cases{[&](const Rheostat& r) {
              return resistor_ac_flow(r, state.temperature_K, supply, room_temperature_K);
            },
            [&](const Lamp& l) {
              return resistor_ac_flow(l, state.temperature_K, supply, room_temperature_K);
            },
            [&](const LedLamp& l) { return led_ac_flow(l, state.capacitor_J, supply); },
            [](const DcMotor&) -> AcFlow {
              refuse("DC motor", "it is connected to AC terminals", "DC terminals");
            },
            [&](const AcFan& f) { return fan_ac_flow(f, state.speed_rad_s, supply); }},
      load);
}

DcFlow off_flow(const Load& load, const LoadState& state, double room_temperature_K) {
  const auto cooling = [&](const auto& resistor) {
    const Heated heat = heated(resistor, state.temperature_K, 0.0, room_temperature_K);
    DcFlow flow;
    flow.power = heat.power;
    flow.rates = heat.rates;
    return flow;
  };
  return std::visit(Cases{[&](const Rheostat& r) { return cooling(r); },
                          [&](const Lamp& l) { return cooling(l); },
                          [&](const LedLamp& l) { return led_off_flow(l, state.capacitor_J); },
                          [&](const auto& m) { return coasting(m.shaft, state.speed_rad_s); }},
                    load);
}

double stored_J(const Load& load, const LoadState& state, double room_temperature_K) {
  const double rise_K = state.temperature_K - room_temperature_K;
  const auto warm_J = [&](const auto& resistor) { return resistor.heat_capacity_J_K * rise_K; };
  return std::visit(
      Cases{[&](const Rheostat& r) { return warm_J(r); }, [&](const Lamp& l) { return warm_J(l); },
            [&](const LedLamp&) { return state.capacitor_J; },
            [&](const auto& m) {
              return 0.5 * m.shaft.inertia_kg_m2 * state.speed_rad_s * state.speed_rad_s;
            }},
      load);
}

DcTotal dc_total(std::span<const SwitchedLoad> loads, double voltage_V, double room_temperature_K) {
  DcTotal total;
  for (const SwitchedLoad& each : loads) {
    const DcFlow flow = each.on ? dc_flow(each.load, each.state, voltage_V, room_temperature_K)
                                : off_flow(each.load, each.state, room_temperature_K);
    total.current_A += each.count * flow.current_A;
    total.slope_S += each.count * flow.slope_S;
    add(total.power, flow.power, each.count);
  }
  return total;
}

AcTotal ac_total(std::span<const SwitchedLoad> loads, const AcSupply& supply,
                 double room_temperature_K) {
  check(supply);
  AcSum sum;
  for (const SwitchedLoad& each : loads) {
    if (!each.on) {
      add(sum.total.power, off_flow(each.load, each.state, room_temperature_K).power, each.count);
      continue;
    }
    add(sum, ac_flow(each.load, each.state, supply, room_temperature_K), each.count);
  }
  return completed(sum, supply);
}

AcTotal ac_total(std::span<const SwitchedLoad> loads, std::span<const AcFlow> flows,
                 const AcSupply& supply) {
  need(flows.size() == loads.size(), "AC loads", "flows are not as many as loads", "one each");
  AcSum sum;
  for (std::size_t i = 0; i < loads.size(); ++i) {
    if (loads[i].on) {
      add(sum, flows[i], loads[i].count);
    } else {
      add(sum.total.power, flows[i].power, loads[i].count);
    }
  }
  return completed(sum, supply);
}

SelectorState turned_to(const Selector& selector, const SelectorState& state,
                        std::size_t position) {
  if (position >= selector.positions.size()) {
    throw base::BadInput("load selector", fmt::format("position {} is not there", position),
                         fmt::format("0 to {}", selector.positions.size() - 1));
  }
  if (position == state.position) return state;
  return {
      .leaving = connection(selector, state), .position = position, .left_s = selector.transfer_s};
}

SelectorState later(const SelectorState& state, double step_s) {
  SelectorState next = state;
  next.left_s = std::max(0.0, state.left_s - step_s);
  return next;
}

Connection connection(const Selector& selector, const SelectorState& state) {
  const Connection reached = selector.positions.at(state.position);
  if (!(state.left_s > 0.0)) return reached;
  return selector.contact == Contact::break_before_make ? 0U : state.leaving | reached;
}

void connect(Connection connection, std::span<SwitchedLoad> loads) {
  for (std::size_t i = 0; i < loads.size(); ++i)
    loads[i].on = i < 32 && (connection >> i & 1U) != 0U;
}

}  // namespace windwright::physics
