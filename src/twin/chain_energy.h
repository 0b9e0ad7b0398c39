// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/electrical_chain.h"

#include <array>
#include <cstddef>
#include <span>
#include <string_view>

namespace windwright::twin {

/// What flows through the electrical chain, in the order of ChainEnergy. In every stretch of time
///   source = controller loss + charge
///   charge + battery + mains output = dump + DC loads + inverter input
///   battery = battery chemical + reversible - ohmic - diffusion - gassing - self-discharge - fault
///             losses
///   mains input = mains output + mains loss
///   inverter input = inverter loss + AC loads
///   DC loads = heat + radiated + mechanical + stored, AC loads likewise
struct ChainPart {
  enum Index : std::size_t {
    source,  // out of the bridge
    controller_loss,
    charge,  // from the controller into the bus
    dump,
    mains_input,
    mains_loss,
    mains_output,
    battery,             // out of its terminals; charging counts negative
    battery_chemical,    // fall of what it stores
    battery_reversible,  // taken up as heat
    battery_ohmic_loss,
    battery_diffusion_loss,
    battery_gassing_loss,
    battery_self_discharge_loss,
    battery_fault_loss,  // at once as a sulphated cell comes or goes; heats nothing
    battery_gas,         // of the gassing loss, what leaves with the gas
    battery_to_room,     // heat
    dc_loads,
    dc_heat,
    dc_radiated,
    dc_mechanical,
    dc_stored,
    inverter_input,
    inverter_loss,
    ac_loads,
    ac_heat,
    ac_radiated,
    ac_mechanical,
    ac_stored,
    count
  };
};
inline constexpr std::size_t chain_parts = ChainPart::count;
inline constexpr std::array<std::string_view, chain_parts> chain_part_names{
    "source",
    "controller_loss",
    "charge",
    "dump",
    "mains_input",
    "mains_loss",
    "mains_output",
    "battery",
    "battery_chemical",
    "battery_reversible",
    "battery_ohmic_loss",
    "battery_diffusion_loss",
    "battery_gassing_loss",
    "battery_self_discharge_loss",
    "battery_fault_loss",
    "battery_gas",
    "battery_to_room",
    "dc_loads",
    "dc_heat",
    "dc_radiated",
    "dc_mechanical",
    "dc_stored",
    "inverter_input",
    "inverter_loss",
    "ac_loads",
    "ac_heat",
    "ac_radiated",
    "ac_mechanical",
    "ac_stored"};

/// Powers of a flow, or energies, in this order.
using ChainPowers_W = std::array<double, chain_parts>;
using ChainEnergies_J = std::array<double, chain_parts>;
/// @param powers_W  (chain_parts), filled
void fill_powers(const physics::ChainFlow& flow, std::span<double> powers_W);

}  // namespace windwright::twin
