// SPDX-License-Identifier: Apache-2.0
#include "bench/rotor_file.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/table.h"
#include "base/text.h"
#include "bench/blade_file.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <map>
#include <memory>
#include <numbers>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr base::Bounds angle_deg{.at_least = -180.0, .at_most = 180.0};
constexpr double largest_radius_m = 200.0;
constexpr std::size_t fewest_rows = 3;
constexpr double smallest_span_deg = 10.0;

double number_within(const base::Table& table, std::size_t row, std::size_t column, double lowest,
                     double highest) {
  const double value = table.number(row, column);
  if (value < lowest || value > highest) {
    throw base::BadInput(table.place(row), fmt::format("{} is {}", table.header()[column], value),
                         fmt::format("a number from {} to {}", lowest, highest));
  }
  return value;
}

void refuse_other_columns(const base::Table& table) {
  for (const std::string& name : table.header()) {
    if (name != "reynolds" && name != "alpha_deg" && name != "cl" && name != "cd" && name != "cm") {
      throw base::BadInput(table.header_place(), fmt::format("column '{}' is not known", name),
                           "reynolds,alpha_deg,cl,cd and at most cm");
    }
  }
}

// Place of the first row that belongs to a table.
std::string place_of(const base::Table& table, const std::vector<physics::PolarRow>& rows,
                     double reynolds) {
  for (std::size_t row = 0; row < rows.size(); ++row) {
    if (std::abs(rows[row].reynolds / reynolds - 1.0) < 0.03) return table.place(row);
  }
  return table.header_place();
}

void check_coverage(const base::Table& table, const std::vector<physics::PolarRow>& rows,
                    const physics::Polar& polar) {
  for (const physics::PolarTable& part : polar.tables()) {
    const double lowest_deg = part.lowest_alpha_rad / degree;
    const double highest_deg = part.highest_alpha_rad / degree;
    if (part.rows < fewest_rows) {
      throw base::BadInput(
          place_of(table, rows, part.reynolds),
          fmt::format("Reynolds number {:.6g} has only {} rows", part.reynolds, part.rows),
          fmt::format("at least {}", fewest_rows));
    }
    if (highest_deg - lowest_deg < smallest_span_deg - 1e-9 || lowest_deg > 0.0 ||
        highest_deg < 0.0) {
      throw base::BadInput(
          place_of(table, rows, part.reynolds),
          fmt::format("the angles of Reynolds number {:.6g} go from {:.6g} to {:.6g} degrees",
                      part.reynolds, lowest_deg, highest_deg),
          fmt::format("a range of at least {} degrees with 0 in it", smallest_span_deg));
    }
  }
}

struct StationKeys {
  physics::RotorStation station;  // polar still missing
  std::string polar;
  std::string place;  // of the key polar
};

StationKeys station_from(const base::Settings& table, double tip_radius_m) {
  StationKeys read{};
  read.station.radius_m = table.number("radius_m", {.at_most = largest_radius_m, .above = 0.0});
  read.station.chord_m = table.number("chord_m", {.at_most = tip_radius_m, .above = 0.0});
  read.station.twist_rad = table.number("twist_deg", angle_deg) * degree;
  read.polar = table.text("polar");
  read.place = table.place("polar");
  return read;
}

void check_span(const std::vector<base::Settings>& tables, const std::vector<StationKeys>& stations,
                const physics::Rotor& rotor) {
  const double slack_m = 1e-6 * rotor.tip_radius_m;
  for (std::size_t i = 1; i < stations.size(); ++i) {
    if (!(stations[i].station.radius_m > stations[i - 1].station.radius_m)) {
      throw base::BadInput(tables[i].place("radius_m"),
                           fmt::format("radius_m is {} after {}", stations[i].station.radius_m,
                                       stations[i - 1].station.radius_m),
                           "stations from hub to tip, each farther out than the one before");
    }
  }
  if (std::abs(stations.front().station.radius_m - rotor.hub_radius_m) > slack_m) {
    throw base::BadInput(tables.front().place("radius_m"),
                         fmt::format("the first station is at {} m, the hub radius is {} m",
                                     stations.front().station.radius_m, rotor.hub_radius_m),
                         "a first station at the hub radius");
  }
  if (std::abs(stations.back().station.radius_m - rotor.tip_radius_m) > slack_m) {
    throw base::BadInput(tables.back().place("radius_m"),
                         fmt::format("the last station is at {} m, the tip radius is {} m",
                                     stations.back().station.radius_m, rotor.tip_radius_m),
                         "a last station at the tip radius");
  }
}

double smallest_chord_m(const std::vector<StationKeys>& stations) {
  double smallest_m = stations.front().station.chord_m;
  for (const StationKeys& read : stations)
    smallest_m = std::min(smallest_m, read.station.chord_m);
  return smallest_m;
}

std::filesystem::path folder_of(const std::filesystem::path& file) {
  return file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
}

}  // namespace

physics::Rotor rotor_from_file(const std::filesystem::path& file) {
  return rotor_and_blade_from_file(file).rotor;
}

RotorFile rotor_and_blade_from_file(const std::filesystem::path& file) {
  const auto settings = base::Settings::from_file(file);
  const auto keys = settings.table("rotor");
  RotorFile result{};
  physics::Rotor& rotor = result.rotor;
  rotor.blades = keys.integer("blades", {.at_least = 1.0, .at_most = 12.0});
  rotor.hub_radius_m = keys.number("hub_radius_m", {.at_most = largest_radius_m, .above = 0.0});
  rotor.tip_radius_m = keys.number("tip_radius_m", {.at_most = largest_radius_m, .above = 0.0});
  if (rotor.hub_radius_m >= rotor.tip_radius_m) {
    throw base::BadInput(
        keys.place("hub_radius_m"),
        fmt::format("hub_radius_m is {}, tip_radius_m {}", rotor.hub_radius_m, rotor.tip_radius_m),
        "a hub radius below the tip radius");
  }
  rotor.pitch_rad = keys.number("pitch_deg", angle_deg) * degree;
  const auto tables = settings.tables("station");
  std::vector<StationKeys> stations;
  stations.reserve(tables.size());
  for (const base::Settings& table : tables)
    stations.push_back(station_from(table, rotor.tip_radius_m));
  if (stations.size() < 2) {
    throw base::BadInput(keys.place(), fmt::format("the rotor has {} stations", stations.size()),
                         "at least two tables [[station]]");
  }
  const std::filesystem::path folder = folder_of(file);
  if (const auto blade = settings.optional_table("blade")) {
    result.blade = blade_from(*blade, folder, smallest_chord_m(stations));
  }
  settings.refuse_unread_keys();
  check_span(tables, stations, rotor);
  rotor.stations.reserve(stations.size());
  for (const StationKeys& read : stations)
    rotor.stations.push_back(read.station);
  const double blade_aspect_ratio = physics::aspect_ratio(rotor.stations);
  std::map<std::filesystem::path, std::shared_ptr<const physics::Polar>> polars;
  for (std::size_t i = 0; i < stations.size(); ++i) {
    const auto path = base::named_file(folder, folder, stations[i].polar, stations[i].place);
    auto& polar = polars[path];
    if (!polar) {
      polar = std::make_shared<const physics::Polar>(polar_from_file(path, blade_aspect_ratio));
    }
    rotor.stations[i].polar = polar;
  }
  return result;
}

std::string rotor_text(const RotorFile& file, const std::string& polar,
                       const std::string& comment) {
  // 1e-9 degrees, so that 5 degrees come back as 5.
  const auto degrees = [](double angle_rad) {
    return base::number_text(std::round(angle_rad / degree * 1e9) / 1e9);
  };
  std::string text;
  for (const std::string& line : base::split(comment, '\n'))
    text += fmt::format("# {}\n", line);
  text += "schema = 1\n\n[rotor]\n";
  text += fmt::format("blades = {}\nhub_radius_m = {}\ntip_radius_m = {}\npitch_deg = {}\n\n",
                      file.rotor.blades, base::number_text(file.rotor.hub_radius_m),
                      base::number_text(file.rotor.tip_radius_m), degrees(file.rotor.pitch_rad));
  if (file.blade) text += blade_text(*file.blade) + "\n";
  for (const physics::RotorStation& station : file.rotor.stations) {
    text +=
        fmt::format("[[station]]\nradius_m = {}\nchord_m = {}\ntwist_deg = {}\npolar = \"{}\"\n\n",
                    base::number_text(station.radius_m), base::number_text(station.chord_m),
                    degrees(station.twist_rad), polar);
  }
  text.pop_back();
  return text;
}

physics::Polar polar_from_file(const std::filesystem::path& file, double aspect_ratio) {
  const auto table = base::Table::from_file(file);
  refuse_other_columns(table);
  const std::size_t reynolds = table.required_column("reynolds");
  const std::size_t alpha = table.required_column("alpha_deg");
  const std::size_t lift = table.required_column("cl");
  const std::size_t drag = table.required_column("cd");
  const auto moment = table.column("cm");
  std::vector<physics::PolarRow> rows(table.rows());
  for (std::size_t row = 0; row < rows.size(); ++row) {
    rows[row] = {.reynolds = number_within(table, row, reynolds, 1.0, 1e10),
                 .alpha_rad = number_within(table, row, alpha, -180.0, 180.0) * degree,
                 .cl = number_within(table, row, lift, -10.0, 10.0),
                 .cd = number_within(table, row, drag, 0.0, 10.0)};
    if (moment) table.number(row, *moment);
  }
  physics::Polar polar(rows, aspect_ratio);
  check_coverage(table, rows, polar);
  return polar;
}

}  // namespace windwright::bench
