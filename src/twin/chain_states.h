// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"
#include "physics/chain_loads.h"
#include "physics/electrical_chain.h"
#include "physics/load_set.h"

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::twin {

/// States of an electrical chain as an integrator carries them: available and bound charge,
/// diffusion voltage and temperature of the battery, then physics::moving_value of every DC load,
/// then of every AC load.
inline constexpr std::size_t battery_states = 4;

/// What of a chain is remembered from stretch to stretch.
struct ChainMemories {
  physics::BatteryState& battery;
  std::span<double> dc_moving;  // (DC loads)
  std::span<double> ac_moving;  // (AC loads)
};

/// Absolute tolerances of the states, for a relative one of 1e-8 or 1e-9.
std::vector<double> state_tolerances(const physics::Battery& battery, std::size_t loads);

/// @param y  (battery_states + loads), filled
void write_states(const physics::BatteryState& battery, std::span<const double> dc_moving,
                  std::span<const double> ac_moving, std::span<double> y);
void read_states(std::span<const double> y, const ChainMemories& into);

/// Hands states on to the models.
void spread_states(std::span<const double> y, physics::BatteryState& battery,
                   std::span<physics::SwitchedLoad> dc_loads,
                   std::span<physics::SwitchedLoad> ac_loads);

/// d/dt of the states.
/// @param memory  of the call of electrical_flow that gave the flow
void fill_state_rates(const physics::ChainFlow& flow, const physics::ChainMemory& memory,
                      std::span<const physics::SwitchedLoad> dc_loads,
                      std::span<const physics::SwitchedLoad> ac_loads, std::span<double> dy);

}  // namespace windwright::twin
