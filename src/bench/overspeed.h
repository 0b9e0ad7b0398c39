// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "bench/bench.h"
#include "physics/blade_strength.h"

#include <optional>

namespace windwright::bench {

/// All that this bench can do to its blades: still air to the tunnel's rated speed at the disc,
/// plus three standard deviations of its turbulence; the pitches at both ends of what the actuator
/// may be given, and the rotor's own; the fewest blades; cold dense air, 1.3 kg/m3;
/// the walls of a closed section.
physics::LoadEnvelope load_envelope(const Bench& bench);

/// The rotor speed the blades may see on this bench, where rotor.toml says what they are made of.
std::optional<physics::SafeSpeed> safe_speed(const Bench& bench);

/// The bound of an interlock on the rotor speed. `highest = "blades"` takes the blades' safe speed;
/// a number above it is refused.
/// @param table  the [[interlock]]
/// @throws BadInput  with file and line
double overspeed_bound(const base::Settings& table, const Bench& bench);

/// A bench whose blades have a safe speed needs an interlock on the rotor speed.
/// @throws BadInput  with file and line
void require_overspeed_interlock(const base::Settings& root, const Bench& bench);

}  // namespace windwright::bench
