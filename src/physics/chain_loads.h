// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/led_lamp.h"
#include "physics/load_flow.h"
#include "physics/load_set.h"

#include <span>
#include <vector>

namespace windwright::physics {

/// Scratch of one chain, kept by the caller so that nothing is allocated while it runs. Answers do
/// not depend on it, but for where the search of the bus voltage begins; `forget` takes that away.
struct ChainMemory {
  double near_V = 0.0;               // the last bus voltage; 0: begin at the battery's own
  bool idle_stand = false;           // dc_flows of loads that are off are of this same state
  std::vector<DcFlow> dc_flows;      // (DC loads), of the last flow
  std::vector<AcFlow> ac_flows;      // (AC loads)
  std::vector<AcFlow> led_flows;     // (AC loads), of an LED lamp at led_supply
  std::vector<AcSupply> led_supply;  // (AC loads); frequency 0: none yet
};
void forget(ChainMemory& memory);

/// LED lamp at a DC voltage with its capacitor settled, which takes milliseconds: what goes in is
/// what the driver and the losses take.
DcFlow led_settled_dc_flow(const LedLamp& lamp, double voltage_V);

/// Flows of loads in the averaged chain: as dc_flow, ac_flow and off_flow, but LED lamps are always
/// settled and hold no energy (about a joule, left out).
/// @return  sums; each load's own flow is left in memory.dc_flows or ac_flows
DcTotal averaged_dc(std::span<const SwitchedLoad> loads, double voltage_V,
                    double room_temperature_K, ChainMemory& memory);
/// @param supply  peak 0: no output, all loads are off
AcTotal averaged_ac(std::span<const SwitchedLoad> loads, const AcSupply& supply,
                    double room_temperature_K, ChainMemory& memory);

/// The same where the supply is there for a share of the time only, in bursts too short for the
/// loads to follow: means of what averaged_ac has left in memory and of the loads switched off.
/// @param on     averaged_ac's answer, of the same loads
/// @param share  0 to 1
AcTotal averaged_bursts(const AcTotal& on, double share, std::span<const SwitchedLoad> loads,
                        double room_temperature_K, ChainMemory& memory);

/// The one thing of a load that moves: temperature or speed; 0 of an LED lamp.
double moving_value(const SwitchedLoad& each);
void set_moving_value(SwitchedLoad& each, double value);
double moving_rate(const SwitchedLoad& each, const LoadRates& rates);

}  // namespace windwright::physics
