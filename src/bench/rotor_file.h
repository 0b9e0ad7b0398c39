// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/polar.h"
#include "physics/rotor.h"

#include <filesystem>

namespace windwright::bench {

/// Reads rotor.toml and the polar tables it names (relative to its folder, not outside it).
/// @throws BadInput  with file and line: see docs/files.md for what a rotor must hold
physics::Rotor rotor_from_file(const std::filesystem::path& file);

/// Reads a polar CSV (reynolds,alpha_deg,cl,cd[,cm]).
/// @throws BadInput
physics::Polar polar_from_file(const std::filesystem::path& file);

}  // namespace windwright::bench
