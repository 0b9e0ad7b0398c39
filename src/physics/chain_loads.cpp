// SPDX-License-Identifier: Apache-2.0
#include "physics/chain_loads.h"

#include "physics/ac_supply.h"
#include "physics/led_lamp.h"
#include "physics/load_flow.h"
#include "physics/load_set.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <variant>

namespace windwright::physics {
namespace {

bool is_same(const AcSupply& a, const AcSupply& b) {
  return a.kind == b.kind && a.peak_V == b.peak_V && a.pulse_share == b.pulse_share &&
         a.frequency_Hz == b.frequency_Hz;
}

bool is_warm(const Load& load) {
  return std::holds_alternative<Rheostat>(load) || std::holds_alternative<Lamp>(load);
}

/// Within the settling's tolerance, what is still stored becomes heat.
void settle(PowerSplit& power) {
  power.heat_W += power.stored_W;
  power.stored_W = 0.0;
}

DcFlow off(const SwitchedLoad& each, double room_temperature_K) {
  if (std::holds_alternative<LedLamp>(each.load)) return {};
  return off_flow(each.load, each.state, room_temperature_K);
}

PowerSplit mean(const PowerSplit& on, const PowerSplit& off, double share) {
  const auto of = [&](double PowerSplit::* what) {
    return share * on.*what + (1.0 - share) * off.*what;
  };
  return {.electrical_W = of(&PowerSplit::electrical_W),
          .heat_W = of(&PowerSplit::heat_W),
          .radiated_W = of(&PowerSplit::radiated_W),
          .mechanical_W = of(&PowerSplit::mechanical_W),
          .stored_W = of(&PowerSplit::stored_W)};
}

LoadRates mean(const LoadRates& on, const LoadRates& off, double share) {
  const auto of = [&](double LoadRates::* what) {
    return share * on.*what + (1.0 - share) * off.*what;
  };
  return {.temperature_K_s = of(&LoadRates::temperature_K_s),
          .speed_rad_s2 = of(&LoadRates::speed_rad_s2),
          .capacitor_W = of(&LoadRates::capacitor_W)};
}

void match(ChainMemory& memory, std::size_t dc_loads, std::size_t ac_loads) {
  if (memory.dc_flows.size() < dc_loads) memory.dc_flows.resize(dc_loads);
  if (memory.ac_flows.size() >= ac_loads) return;
  memory.ac_flows.resize(ac_loads);
  memory.led_flows.resize(ac_loads);
  memory.led_supply.resize(
      ac_loads, {.kind = OutputKind::sine, .peak_V = 0.0, .pulse_share = 1.0, .frequency_Hz = 0.0});
}

/// Of a lamp at a supply: worked out once, as long as the supply stays.
const AcFlow& led_settled_ac_flow(const LedLamp& lamp, const AcSupply& supply, std::size_t place,
                                  ChainMemory& memory) {
  AcFlow& kept = memory.led_flows[place];
  if (is_same(memory.led_supply[place], supply)) return kept;
  kept = led_ac_flow(lamp, settled_capacitor_J(lamp, supply), supply);
  settle(kept.power);
  kept.rates = {};
  memory.led_supply[place] = supply;
  return kept;
}

void add(PowerSplit& sum, const PowerSplit& part, double count) {
  sum.electrical_W += count * part.electrical_W;
  sum.heat_W += count * part.heat_W;
  sum.radiated_W += count * part.radiated_W;
  sum.mechanical_W += count * part.mechanical_W;
  sum.stored_W += count * part.stored_W;
}

}  // namespace

void forget(ChainMemory& memory) {
  memory.near_V = 0.0;
}

DcFlow led_settled_dc_flow(const LedLamp& lamp, double voltage_V) {
  const double forward_V = std::abs(voltage_V) - lamp.bridge_drop_V;
  if (!(forward_V > 0.0)) return {};
  // Driver at constant power: u^2 - forward u + R P = 0; below its lowest voltage a resistance.
  const double square = forward_V * forward_V - 4.0 * lamp.series_ohm * lamp.power_W;
  const double root_V = std::sqrt(std::max(0.0, square));
  double capacitor_V = 0.5 * (forward_V + root_V);
  double slope = capacitor_V / root_V;
  if (!(square > 0.0) || capacitor_V < lamp.lowest_voltage_V) {
    slope = 1.0 / (1.0 + lamp.series_ohm * lamp.power_W /
                             (lamp.lowest_voltage_V * lamp.lowest_voltage_V));
    capacitor_V = slope * forward_V;
  }
  DcFlow flow = led_dc_flow(lamp, 0.5 * lamp.capacitance_F * capacitor_V * capacitor_V, voltage_V);
  settle(flow.power);
  flow.slope_S = (1.0 - slope) / lamp.series_ohm;
  flow.rates = {};
  return flow;
}

DcTotal averaged_dc(std::span<const SwitchedLoad> loads, double voltage_V,
                    double room_temperature_K, ChainMemory& memory) {
  match(memory, loads.size(), 0);
  DcTotal total;
  for (std::size_t i = 0; i < loads.size(); ++i) {
    const SwitchedLoad& each = loads[i];
    DcFlow& flow = memory.dc_flows[i];
    if (!each.on) {
      if (!memory.idle_stand) flow = off(each, room_temperature_K);
    } else if (const auto* lamp = std::get_if<LedLamp>(&each.load)) {
      flow = led_settled_dc_flow(*lamp, voltage_V);
    } else {
      flow = dc_flow(each.load, each.state, voltage_V, room_temperature_K);
    }
    total.current_A += each.count * flow.current_A;
    total.slope_S += each.count * flow.slope_S;
    add(total.power, flow.power, each.count);
  }
  return total;
}

AcTotal averaged_ac(std::span<const SwitchedLoad> loads, const AcSupply& supply,
                    double room_temperature_K, ChainMemory& memory) {
  match(memory, 0, loads.size());
  const bool live = supply.peak_V > 0.0;
  for (std::size_t i = 0; i < loads.size(); ++i) {
    const SwitchedLoad& each = loads[i];
    AcFlow& flow = memory.ac_flows[i];
    if (!each.on || !live) {
      const DcFlow idle = off(each, room_temperature_K);
      flow = {};
      flow.power = idle.power;
      flow.rates = idle.rates;
    } else if (const auto* lamp = std::get_if<LedLamp>(&each.load)) {
      flow = led_settled_ac_flow(*lamp, supply, i, memory);
    } else {
      flow = ac_flow(each.load, each.state, supply, room_temperature_K);
    }
  }
  return ac_total(loads, std::span<const AcFlow>(memory.ac_flows).first(loads.size()), supply);
}

AcTotal averaged_bursts(const AcTotal& on, double share, std::span<const SwitchedLoad> loads,
                        double room_temperature_K, ChainMemory& memory) {
  AcTotal total;
  total.active_power_W = share * on.active_power_W;
  total.reactive_power_var = share * on.reactive_power_var;
  total.apparent_power_VA = share * on.apparent_power_VA;
  total.rms_current_A = std::sqrt(share) * on.rms_current_A;
  for (std::size_t i = 0; i < loads.size(); ++i) {
    AcFlow& flow = memory.ac_flows[i];
    const DcFlow idle = off(loads[i], room_temperature_K);
    flow.power = mean(flow.power, idle.power, share);
    flow.rates = mean(flow.rates, idle.rates, share);
    add(total.power, flow.power, loads[i].count);
  }
  return total;
}

double moving_value(const SwitchedLoad& each) {
  if (is_warm(each.load)) return each.state.temperature_K;
  return std::holds_alternative<LedLamp>(each.load) ? 0.0 : each.state.speed_rad_s;
}

void set_moving_value(SwitchedLoad& each, double value) {
  if (is_warm(each.load)) {
    each.state.temperature_K = value;
  } else if (!std::holds_alternative<LedLamp>(each.load)) {
    each.state.speed_rad_s = value;
  }
}

double moving_rate(const SwitchedLoad& each, const LoadRates& rates) {
  if (is_warm(each.load)) return rates.temperature_K_s;
  return std::holds_alternative<LedLamp>(each.load) ? 0.0 : rates.speed_rad_s2;
}

}  // namespace windwright::physics
