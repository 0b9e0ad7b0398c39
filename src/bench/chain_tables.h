// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "physics/chain_control.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

/// Battery and all that hangs on it, where a bench has them. Names are those of the loads, in
/// order.
struct BenchChain {
  physics::ChainSetup setup;
  double state_of_charge;  // at the start of a simulation
  std::vector<std::string> dc_load_names;
  std::vector<std::string> ac_load_names;
};

/// Reads [battery], [charge_controller], [mains_charger], [inverter], [[dc_load]] and [[ac_load]]:
/// docs/bench.md. Loads are cold and off; the selectors connect all of them until actuators say
/// otherwise.
/// @param root  of the whole file
/// @return      nothing where there is no [battery]
/// @throws BadInput  with file and line; also one of the other tables without [battery], and what
///                   the models refuse
std::optional<BenchChain> chain_from_tables(const base::Settings& root);

/// What to tell whoever starts such a chain: a controller that takes the load off the rotor, and
/// nothing that takes its power then. Nothing where there is no such risk.
std::optional<std::string> overspeed_caution(const BenchChain& chain);

/// Whether an actuator belongs to the chain: dc_load_selector, ac_load_selector, inverter_switch,
/// mains_charger_switch.
bool is_chain_actuator(std::string_view name);

/// Positions of such an actuator. Of a selector: "none", or names of loads joined by "+"; they
/// become positions of the chain's selector. Of a switch: "off" and "on".
/// @param table  the [[actuator]]
/// @throws BadInput  with file and line: no such load or part on this bench
std::vector<std::string> read_chain_positions(const base::Settings& table, std::string_view name,
                                              std::optional<BenchChain>& chain);

}  // namespace windwright::bench
