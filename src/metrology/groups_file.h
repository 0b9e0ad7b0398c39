// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/interlaboratory.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

/// One level of the quantity (material, set point, question) with what every group found there.
struct GroupLevel {
  std::string name;
  std::vector<Cell> cells;        // in the order of the file
  std::optional<Cell> reference;  // of the group that was named as reference
};

struct GroupsFile {
  std::string unit;                // UDUNITS; "1" where the file does not say
  std::vector<GroupLevel> levels;  // in the order of the file
};

/// Whether a CSV's header has a column `group`, which no points CSV has.
/// @throws BadInput  not readable as a table
bool is_groups_file(const std::filesystem::path& file);

/// Header `group,level,value` and optional `u`, the standard uncertainty that a group states for
/// its result at that level (the same in all its rows there, or empty). Rows of one group and level
/// are repeats. A comment line `# value [UNIT]: meaning` states the unit.
/// @param reference  group that is the yardstick and takes no part otherwise; empty: none
/// @throws BadInput  with file and line: unreadable, unknown or missing column, an empty name, a
///                   value that is not finite, an uncertainty below 0 or not the same within a
///                   cell, fewer than three groups at a level, a reference that is not there
GroupsFile groups_from_file(const std::filesystem::path& file, const std::string& reference = {});

/// One level, studied.
struct StudiedLevel {
  GroupLevel level;
  std::string unit;
  LevelStudy study;
};

/// @throws BadInput  as study_level
std::vector<StudiedLevel> study_groups(const GroupsFile& file);

}  // namespace windwright::metrology
