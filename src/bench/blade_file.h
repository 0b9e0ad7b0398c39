// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "physics/blade_section.h"
#include "physics/blade_strength.h"

#include <filesystem>
#include <optional>
#include <string>

namespace windwright::bench {

/// The table `[blade]` of rotor.toml and design.toml: docs/files.md.
struct BladeDescription {
  physics::Blade blade;
  std::string section;  // as written: "plate", "naca4412" or a file
  double strength_Pa;
  double safety_factor;
  std::optional<std::filesystem::path> section_file;
};

/// Where a maker has no characteristic strength and no load measurement: 3 for the material and 3
/// for the loads. Source: IEC 61400-2:2013, tables of partial safety factors for a minimal
/// characterisation of the material and for the simplified load model, from memory.
inline constexpr double default_safety_factor = 9.0;

/// @param smallest_chord_m  of the blade: sheet and trailing edge are at most half of it
/// @param folder            that a section file is relative to, and inside
/// @throws BadInput         with file and line
BladeDescription blade_from(const base::Settings& table, const std::filesystem::path& folder,
                            double smallest_chord_m);

/// The same as text, with the section file under a name of its own.
std::string blade_text(const BladeDescription& description);

/// Reads a contour, CSV with the header `x,y` in parts of the chord: from the trailing edge along
/// the upper (suction) side to the leading edge and back along the lower one, as sections are
/// commonly tabled. At least nine points; x falling, then rising.
/// @throws BadInput  with file and line
physics::SectionOutline section_from_file(const std::filesystem::path& file);

}  // namespace windwright::bench
