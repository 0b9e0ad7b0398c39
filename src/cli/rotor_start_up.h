// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// `rotor FILE --start-up BENCH`: how the rotor starts, runs and runs away on a bench's shaft.
struct RotorStartUp {
  physics::Rotor rotor;  // its pitch not used
  std::string bench;     // bench.toml: generator, loads, inertia, interlocks
  std::vector<double> pitches_deg;
  std::vector<double> air_speeds_m_s;  // empty: 1 m/s apart up to the tunnel's highest
  std::optional<double> load_ohm;      // infinity: open circuit; else the rheostat's highest
  double density_kg_m3;
  double dynamic_viscosity_Pa_s;
  bool json;
};
/// Prints the table, or one JSON document, and on stderr what a reader must know.
/// @throws BadInput  from the bench's file
void print_rotor_start_up(const RotorStartUp& request);

}  // namespace windwright::cli
