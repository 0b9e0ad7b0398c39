// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/blade_file.h"
#include "physics/blade_design.h"
#include "physics/blade_solid.h"
#include "physics/practical_blade.h"

#include <filesystem>
#include <map>
#include <string>

namespace windwright::bench {

/// design.toml, what `windwright rotor --design` works from: docs/files.md.
struct DesignFile {
  physics::DesignTask task;
  physics::DesignOptions options;
  physics::Compromises compromises;
  std::string build_place;       // `file:line` of that key
  std::string build;             // name of the practical blade that is to be made
  double highest_air_speed_m_s;  // that the blades must stand
  BladeDescription blade;
  physics::SolidOptions solid;
  std::filesystem::path polar;                          // the task's
  std::map<std::string, std::filesystem::path> polars;  // of the other sections, by their name
};

/// @throws BadInput  with file and line; also on a key that is not known
DesignFile design_from_file(const std::filesystem::path& file);

}  // namespace windwright::bench
