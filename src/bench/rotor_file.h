// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/blade_file.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <filesystem>
#include <optional>
#include <string>

namespace windwright::bench {

/// Reads rotor.toml and the polar tables it names (relative to its folder, and inside it, so that
/// the folder can be handed on as a whole). Every polar is continued to +-180 degrees with the
/// aspect ratio of these blades. Blades 1 to 12; radii above 0, hub below tip; stations at least
/// two, radius ascending, the first at the hub and the last at the tip; chord above 0 and below the
/// tip radius; pitch and twist -180 to 180 degrees.
/// @throws BadInput  with file and line; also on a key that is not known
physics::Rotor rotor_from_file(const std::filesystem::path& file);

struct RotorFile {
  physics::Rotor rotor;
  std::optional<BladeDescription> blade;  // the optional table [blade]: material and section
};
/// The same with what the blades are made of.
RotorFile rotor_and_blade_from_file(const std::filesystem::path& file);

/// The text of a rotor.toml that rotor_and_blade_from_file reads back to the same numbers.
/// @param polar    the name every station gives for its polar
/// @param comment  lines for the head of the file, without `#`
std::string rotor_text(const RotorFile& file, const std::string& polar, const std::string& comment);

/// Reads a polar CSV (reynolds,alpha_deg,cl,cd[,cm]; rows in any order, several Reynolds numbers).
/// Every Reynolds number needs at least three rows that span at least 10 degrees and include 0.
/// @param aspect_ratio  of the blade, for the continuation to +-180 degrees (physics/polar.h)
/// @throws BadInput     with file and line
physics::Polar polar_from_file(const std::filesystem::path& file, double aspect_ratio = 10.0);

}  // namespace windwright::bench
