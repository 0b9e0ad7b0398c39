// SPDX-License-Identifier: Apache-2.0
#include "bench/blade_file.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/table.h"
#include "base/text.h"
#include "physics/blade_section.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Settings;

constexpr std::size_t fewest_points = 9;
constexpr std::size_t most_points = 2000;

bool is_naca4(std::string_view name) {
  return name.size() == 8 && name.starts_with("naca") &&
         std::all_of(name.begin() + 4, name.end(),
                     [](unsigned char digit) { return std::isdigit(digit) != 0; });
}

physics::SectionShape naca4(const Settings& table, const std::string& name) {
  const auto digit = [&name](std::size_t place) { return static_cast<double>(name[place] - '0'); };
  const physics::SectionShape shape{.kind = physics::SectionShape::Kind::naca4,
                                    .camber = digit(4) / 100.0,
                                    .camber_position = digit(5) == 0.0 ? 0.4 : digit(5) / 10.0,
                                    .thickness = (10.0 * digit(6) + digit(7)) / 100.0};
  const bool halves_agree = (digit(4) == 0.0) == (digit(5) == 0.0);
  if (shape.thickness <= 0.0 || shape.thickness > 0.5 || !halves_agree) {
    throw BadInput(table.place("section"), fmt::format("section '{}' is no section", name),
                   "nacaMPTT: camber and its place both 0 or neither, thickness 01 to 50");
  }
  return shape;
}

void read_section(const Settings& table, const std::filesystem::path& folder,
                  double smallest_chord_m, BladeDescription& description) {
  const base::Bounds sheet{.at_most = 0.5 * smallest_chord_m, .above = 0.0};
  description.section = table.text("section");
  physics::SectionShape& shape = description.blade.section;
  if (description.section == "plate") {
    shape = {
        .kind = physics::SectionShape::Kind::plate,
        .camber = table.number_or("camber_pct", 0.0, {.at_least = 0.0, .at_most = 20.0}) / 100.0,
        .thickness_m = table.number("thickness_m", sheet)};
  } else if (is_naca4(description.section)) {
    shape = naca4(table, description.section);
  } else if (description.section.ends_with(".csv")) {
    description.section_file =
        base::named_file(folder, folder, description.section, table.place("section"));
    shape = {.kind = physics::SectionShape::Kind::points,
             .outline = section_from_file(*description.section_file)};
  } else {
    throw BadInput(table.place("section"),
                   fmt::format("section '{}' is not known", description.section),
                   "\"plate\", \"naca\" and four digits, or a file \"NAME.csv\"");
  }
  shape.trailing_edge_m =
      table.number_or("trailing_edge_m", 0.0, {.at_least = 0.0, .at_most = sheet.at_most});
}

}  // namespace

BladeDescription blade_from(const Settings& table, const std::filesystem::path& folder,
                            double smallest_chord_m) {
  BladeDescription description{
      .blade = {.density_kg_m3 = table.number("density_kg_m3", {.at_least = 10.0, .at_most = 2e4}),
                .allowable_stress_Pa = 0.0,
                .section = {}},
      .section = {},
      .strength_Pa = table.number("strength_Pa", {.at_least = 1e5, .at_most = 1e10}),
      .safety_factor = table.number_or("safety_factor", default_safety_factor,
                                       {.at_least = 1.0, .at_most = 1000.0}),
      .section_file = {}};
  description.blade.allowable_stress_Pa = description.strength_Pa / description.safety_factor;
  read_section(table, folder, smallest_chord_m, description);
  if (table.has("root_diameter_m")) {
    description.blade.root_diameter_m =
        table.number("root_diameter_m", {.at_most = 10.0, .above = 0.0});
  }
  description.blade.highest_tip_speed_m_s =
      table.number_or("highest_tip_speed_m_s", physics::largest_assessed_tip_speed_m_s,
                      {.at_most = physics::largest_assessed_tip_speed_m_s, .above = 0.0});
  return description;
}

std::string blade_text(const BladeDescription& description) {
  const physics::Blade& blade = description.blade;
  const physics::SectionShape& shape = blade.section;
  std::string text = "[blade]\n";
  const auto put = [&text](std::string_view key, double value) {
    text += fmt::format("{} = {}\n", key, base::number_text(value));
  };
  put("density_kg_m3", blade.density_kg_m3);
  put("strength_Pa", description.strength_Pa);
  put("safety_factor", description.safety_factor);
  const std::string section = description.section_file
                                  ? description.section_file->filename().string()
                                  : description.section;
  text += fmt::format("section = \"{}\"\n", section);
  if (shape.kind == physics::SectionShape::Kind::plate) {
    put("thickness_m", shape.thickness_m);
    put("camber_pct", 100.0 * shape.camber);
  }
  if (shape.trailing_edge_m > 0.0) put("trailing_edge_m", shape.trailing_edge_m);
  if (blade.root_diameter_m) put("root_diameter_m", *blade.root_diameter_m);
  if (blade.highest_tip_speed_m_s < physics::largest_assessed_tip_speed_m_s) {
    put("highest_tip_speed_m_s", blade.highest_tip_speed_m_s);
  }
  return text;
}

physics::SectionOutline section_from_file(const std::filesystem::path& file) {
  const auto table = base::Table::from_file(file);
  const std::size_t x = table.required_column("x");
  const std::size_t y = table.required_column("y");
  if (table.rows() < fewest_points || table.rows() > most_points) {
    throw BadInput(table.header_place(), fmt::format("the section has {} points", table.rows()),
                   fmt::format("{} to {}", fewest_points, most_points));
  }
  std::vector<physics::SectionPoint> points;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    points.push_back({table.number(row, x), table.number(row, y)});
    if (points.back().x < -0.05 || points.back().x > 1.05 || points.back().y < -0.5 ||
        points.back().y > 0.5) {
      throw BadInput(table.place(row),
                     fmt::format("the point ({}, {}) is no part of a section", points.back().x,
                                 points.back().y),
                     "parts of the chord: x from 0 to 1, y within half a chord");
    }
  }
  const auto nose = static_cast<std::size_t>(
      std::min_element(points.begin(), points.end(),
                       [](const auto& a, const auto& b) { return a.x < b.x; }) -
      points.begin());
  for (std::size_t row = 1; row < points.size(); ++row) {
    const bool good =
        row <= nose ? points[row].x < points[row - 1].x : points[row].x > points[row - 1].x;
    if (!good) {
      throw BadInput(table.place(row),
                     fmt::format("x goes from {} to {}", points[row - 1].x, points[row].x),
                     "from the trailing edge over the upper side to the leading edge, and back "
                     "over the lower side");
    }
  }
  const auto ahead = static_cast<std::ptrdiff_t>(nose);
  physics::SectionOutline outline{.upper = {points.rend() - ahead - 1, points.rend()},
                                  .lower = {points.begin() + ahead, points.end()}};
  try {
    physics::resampled(outline, 41);
  } catch (const BadInput& error) {
    // Its place is the file; what is wrong is known only as a whole.
    throw BadInput(table.header_place(), "the section's sides have too few points, or cross",
                   "the upper side first and above the lower one, three points a side");
  }
  return outline;
}

}  // namespace windwright::bench
