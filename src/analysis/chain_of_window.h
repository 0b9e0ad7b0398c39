// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/energy_chain.h"
#include "analysis/points.h"
#include "campaign/conductor.h"

#include <vector>

namespace windwright::analysis {

/// The energy chains of some windows of a run, reconciled together. What a bench with generator,
/// bridge and DC load knows: wind, rotor, shaft (bearings; stores while the rotor speeds up),
/// generator (winding and iron), rectifier, DC load. Torque and AC power come in where they are
/// measured; losses come from the generator model with the bench's u_loss. The moment of inertia
/// is taken as described. On a bench with a battery the rectifier feeds the charge controller, and
/// that the DC bus, with battery, dump load, DC loads, inverter and AC loads; what a tracker and
/// the inverter lose is left to the balances, and so are branches without an instrument. A selector
/// at "none" and a mains charger that is off have no flow at all.
/// @throws BadInput  as points_of_windows and study_energy_chain
ChainStudy study_windows(const campaign::Run& run, const std::vector<Window>& windows);

}  // namespace windwright::analysis
