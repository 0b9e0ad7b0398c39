// SPDX-License-Identifier: Apache-2.0
#include "metrology/groups_file.h"

#include "base/errors.h"
#include "base/table.h"
#include "base/text.h"
#include "metrology/units.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

std::string unit_of_value(const base::Table& table) {
  for (std::size_t i = 0; i < table.comments().size(); ++i) {
    const std::string_view comment = table.comments()[i];
    if (!comment.starts_with("value [")) continue;
    const auto close = comment.find("]:");
    if (close == std::string_view::npos) {
      throw base::BadInput(table.comment_place(i),
                           fmt::format("the comment '# {}' is not readable", comment),
                           "# value [m s-1]: meaning");
    }
    const std::string unit(comment.substr(7, close - 7));
    require_unit_syntax(unit, table.comment_place(i));
    return unit;
  }
  return "1";
}

std::string name_at(const base::Table& table, std::size_t row, std::string_view column) {
  const std::string& name = table.text(row, table.required_column(column));
  if (name.empty()) {
    throw base::BadInput(table.place(row), fmt::format("{} is empty", column),
                         fmt::format("the name of the {}", column));
  }
  return name;
}

// Finds by name, or appends.
template <typename Entry>
Entry& entry_of(std::vector<Entry>& entries, std::string Entry::* key, const std::string& name) {
  for (Entry& entry : entries) {
    if (entry.*key == name) return entry;
  }
  entries.emplace_back();
  entries.back().*key = name;
  return entries.back();
}

void take_row(const base::Table& table, std::size_t row, Cell& cell) {
  const auto u_column = table.column("u");
  std::optional<double> u;
  if (u_column && !table.text(row, *u_column).empty()) {
    u = table.number(row, *u_column);
    if (*u < 0.0) {
      throw base::BadInput(table.place(row), fmt::format("u is {}", *u),
                           "a standard uncertainty, 0 or above");
    }
  }
  if (!cell.values.empty() && u != cell.u) {
    throw base::BadInput(
        table.place(row),
        fmt::format("u of group '{}' is not the same as in the rows before", cell.group),
        "one standard uncertainty of the group's result, in all its rows there");
  }
  cell.u = u;
  cell.values.push_back(table.number(row, table.required_column("value")));
}

void require_columns(const base::Table& table) {
  const std::vector<std::string> names{"group", "level", "value", "u"};
  for (const std::string& name : table.header()) {
    if (std::find(names.begin(), names.end(), name) != names.end()) continue;
    throw base::BadInput(table.header_place(), fmt::format("column '{}' is unknown", name),
                         base::either_of(names));
  }
  for (const char* name : {"group", "level", "value"})
    static_cast<void>(table.required_column(name));
}

void take_reference(const base::Table& table, const std::string& reference, GroupLevel& level) {
  const auto found = std::find_if(level.cells.begin(), level.cells.end(),
                                  [&](const Cell& cell) { return cell.group == reference; });
  if (found == level.cells.end()) {
    throw base::BadInput(
        table.header_place(),
        fmt::format("the reference '{}' has no value at level '{}'", reference, level.name),
        "a group of that name at every level, or another --reference");
  }
  level.reference = *found;
  level.cells.erase(found);
}

}  // namespace

bool is_groups_file(const std::filesystem::path& file) {
  return base::Table::from_file(file).column("group").has_value();
}

GroupsFile groups_from_file(const std::filesystem::path& file, const std::string& reference) {
  const base::Table table = base::Table::from_file(file);
  require_columns(table);
  GroupsFile result{.unit = unit_of_value(table), .levels = {}};
  for (std::size_t row = 0; row < table.rows(); ++row) {
    GroupLevel& level = entry_of(result.levels, &GroupLevel::name, name_at(table, row, "level"));
    take_row(table, row, entry_of(level.cells, &Cell::group, name_at(table, row, "group")));
  }
  for (GroupLevel& level : result.levels) {
    if (!reference.empty()) take_reference(table, reference, level);
    if (level.cells.size() < 3) {
      throw base::BadInput(table.header_place(),
                           fmt::format("level '{}' has {} {}", level.name, level.cells.size(),
                                       level.cells.size() == 1 ? "group" : "groups"),
                           "three or more groups at every level, besides a reference");
    }
  }
  return result;
}

std::vector<StudiedLevel> study_groups(const GroupsFile& file) {
  std::vector<StudiedLevel> all;
  for (const GroupLevel& level : file.levels) {
    all.push_back(
        {.level = level, .unit = file.unit, .study = study_level(level.cells, level.reference)});
  }
  return all;
}

}  // namespace windwright::metrology
