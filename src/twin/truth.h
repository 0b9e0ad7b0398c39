// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "physics/generator.h"
#include "physics/rotor.h"

#include <cstdint>

namespace windwright::twin {

/// How the simulated bench differs from its description: drawn once per seed from the spreads in
/// bench.toml, known to nobody but the simulation. Each draw has a random stream of its own name,
/// so one spread changes nothing but its own quantity.
struct Truth {
  physics::Rotor rotor;          // every length scaled by one factor, so the shape is kept
  physics::Generator generator;  // four losses scaled apart: bearing, iron, winding, rectifier
  double position_factor;        // air speed at the disc over that at the sensor
};

/// @throws BadInput  the bench has no [simulation]
Truth truth_of(const bench::Bench& bench);

/// The pitch that a person in truth sets when they mean `pitch_rad`: off by a normal error with the
/// standard deviation u_setting of the actuator pitch_deg.
/// @param mounting  counts the times that blades were put on, from 0; each has its own error
double pitch_as_set_rad(const bench::Bench& bench, double pitch_rad, std::int64_t mounting);

}  // namespace windwright::twin
