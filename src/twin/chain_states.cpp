// SPDX-License-Identifier: Apache-2.0
#include "twin/chain_states.h"

#include "physics/battery.h"
#include "physics/chain_loads.h"
#include "physics/electrical_chain.h"
#include "physics/load_set.h"

#include <algorithm>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::twin {

namespace {

enum State : std::size_t { available, bound, diffusion, temperature };

physics::BatteryState battery_of(std::span<const double> y) {
  return {.available_A_s = y[available],
          .bound_A_s = y[bound],
          .diffusion_V = y[diffusion],
          .temperature_K = y[temperature]};
}

}  // namespace

std::vector<double> state_tolerances(const physics::Battery& battery, std::size_t loads) {
  const double charge_A_s = physics::tanks(battery).charge_A_s;
  std::vector<double> all{1e-11 * charge_A_s, 1e-11 * charge_A_s, 1e-9, 1e-8};
  all.resize(battery_states + loads, 1e-6);
  return all;
}

void write_states(const physics::BatteryState& battery, std::span<const double> dc_moving,
                  std::span<const double> ac_moving, std::span<double> y) {
  y[available] = battery.available_A_s;
  y[bound] = battery.bound_A_s;
  y[diffusion] = battery.diffusion_V;
  y[temperature] = battery.temperature_K;
  std::copy(dc_moving.begin(), dc_moving.end(), y.subspan(battery_states).begin());
  std::copy(ac_moving.begin(), ac_moving.end(),
            y.subspan(battery_states + dc_moving.size()).begin());
}

void read_states(std::span<const double> y, const ChainMemories& into) {
  into.battery = battery_of(y);
  const std::span<const double> moving = y.subspan(battery_states);
  std::copy_n(moving.begin(), into.dc_moving.size(), into.dc_moving.begin());
  std::copy_n(moving.subspan(into.dc_moving.size()).begin(), into.ac_moving.size(),
              into.ac_moving.begin());
}

void spread_states(std::span<const double> y, physics::BatteryState& battery,
                   std::span<physics::SwitchedLoad> dc_loads,
                   std::span<physics::SwitchedLoad> ac_loads) {
  battery = battery_of(y);
  std::size_t next = battery_states;
  for (physics::SwitchedLoad& each : dc_loads)
    physics::set_moving_value(each, y[next++]);
  for (physics::SwitchedLoad& each : ac_loads)
    physics::set_moving_value(each, y[next++]);
}

void fill_state_rates(const physics::ChainFlow& flow, const physics::ChainMemory& memory,
                      std::span<const physics::SwitchedLoad> dc_loads,
                      std::span<const physics::SwitchedLoad> ac_loads, std::span<double> dy) {
  dy[available] = flow.battery_rates.available_A;
  dy[bound] = flow.battery_rates.bound_A;
  dy[diffusion] = flow.battery_rates.diffusion_V_s1;
  dy[temperature] = flow.battery_rates.temperature_K_s;
  std::size_t next = battery_states;
  for (std::size_t i = 0; i < dc_loads.size(); ++i)
    dy[next++] = physics::moving_rate(dc_loads[i], memory.dc_flows[i].rates);
  for (std::size_t i = 0; i < ac_loads.size(); ++i)
    dy[next++] = physics::moving_rate(ac_loads[i], memory.ac_flows[i].rates);
}

}  // namespace windwright::twin
