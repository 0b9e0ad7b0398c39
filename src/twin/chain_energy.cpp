// SPDX-License-Identifier: Apache-2.0
#include "twin/chain_energy.h"

#include <span>

namespace windwright::twin {

void fill_powers(const physics::ChainFlow& flow, std::span<double> powers_W) {
  powers_W[ChainPart::source] = flow.source.dc_power_W;
  powers_W[ChainPart::controller_loss] = flow.source.controller_loss_W;
  powers_W[ChainPart::charge] = flow.source.charge_power_W;
  powers_W[ChainPart::dump] = flow.dump_power_W;
  powers_W[ChainPart::mains_input] = flow.mains.mains_power_W;
  powers_W[ChainPart::mains_loss] = flow.mains.loss_W;
  powers_W[ChainPart::mains_output] = flow.mains.output_power_W;
  powers_W[ChainPart::battery] = flow.battery.terminal_power_W;
  powers_W[ChainPart::battery_chemical] = flow.battery.chemical_power_W;
  powers_W[ChainPart::battery_reversible] = flow.battery.reversible_heat_W;
  powers_W[ChainPart::battery_ohmic_loss] = flow.battery.ohmic_loss_W;
  powers_W[ChainPart::battery_diffusion_loss] = flow.battery.diffusion_loss_W;
  powers_W[ChainPart::battery_gassing_loss] = flow.battery.gassing_loss_W;
  powers_W[ChainPart::battery_self_discharge_loss] = flow.battery.self_discharge_loss_W;
  powers_W[ChainPart::battery_fault_loss] = 0.0;
  powers_W[ChainPart::battery_gas] = flow.battery.gas_power_W;
  powers_W[ChainPart::battery_to_room] = flow.battery_rates.heat_to_room_W;
  powers_W[ChainPart::dc_loads] = flow.dc.power.electrical_W;
  powers_W[ChainPart::dc_heat] = flow.dc.power.heat_W;
  powers_W[ChainPart::dc_radiated] = flow.dc.power.radiated_W;
  powers_W[ChainPart::dc_mechanical] = flow.dc.power.mechanical_W;
  powers_W[ChainPart::dc_stored] = flow.dc.power.stored_W;
  powers_W[ChainPart::inverter_input] = flow.inverter.dc_power_W;
  powers_W[ChainPart::inverter_loss] = flow.inverter.no_load_loss_W +
                                       flow.inverter.proportional_loss_W +
                                       flow.inverter.quadratic_loss_W;
  powers_W[ChainPart::ac_loads] = flow.ac.power.electrical_W;
  powers_W[ChainPart::ac_heat] = flow.ac.power.heat_W;
  powers_W[ChainPart::ac_radiated] = flow.ac.power.radiated_W;
  powers_W[ChainPart::ac_mechanical] = flow.ac.power.mechanical_W;
  powers_W[ChainPart::ac_stored] = flow.ac.power.stored_W;
}

}  // namespace windwright::twin
