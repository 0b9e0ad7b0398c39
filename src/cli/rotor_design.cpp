// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_design.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/blade_products.h"
#include "bench/design_file.h"
#include "bench/rotor_file.h"
#include "cli/blade_json.h"
#include "physics/blade_design.h"
#include "physics/blade_solid.h"
#include "physics/blade_strength.h"
#include "physics/polar.h"
#include "physics/practical_blade.h"
#include "physics/rotor.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;

constexpr double degree = std::numbers::pi / 180.0;

struct Product {
  fs::path name;  // inside the folder
  std::string text;
};

using Column = std::pair<const char*, double>;

double largest_chord_m(const physics::Rotor& rotor) {
  double largest_m = 0.0;
  for (const physics::RotorStation& station : rotor.stations)
    largest_m = std::max(largest_m, station.chord_m);
  return largest_m;
}

// Costs refer to the optimum at its design point and at its own best.
std::vector<Column> columns_of(const physics::PracticalBlade& blade,
                               const physics::PracticalBlade& optimum) {
  return {{"cp", blade.cp},
          {"cp_cost_pct", 100.0 * (1.0 - blade.cp / optimum.cp)},
          {"best_tip_speed_ratio", blade.best_tip_speed_ratio},
          {"best_cp", blade.best_cp},
          {"best_cp_cost_pct", 100.0 * (1.0 - blade.best_cp / optimum.best_cp)},
          {"largest_chord_m", largest_chord_m(blade.rotor)},
          {"root_twist_deg", blade.rotor.stations.front().twist_rad / degree},
          {"tip_twist_deg", blade.rotor.stations.back().twist_rad / degree}};
}

std::string comparison_csv(const std::vector<physics::PracticalBlade>& blades) {
  std::string text;
  for (const physics::PracticalBlade& blade : blades) {
    std::string header = "blade";
    std::string line = blade.name;
    for (const auto& [name, value] : columns_of(blade, blades.front())) {
      header += fmt::format(",{}", name);
      line += "," + base::number_text(value);
    }
    if (text.empty()) text = fmt::format("{}\n", header);
    text += fmt::format("{}\n", line);
  }
  return text;
}

struct Designed {
  bench::DesignFile file;
  std::vector<physics::PracticalBlade> blades;
  std::size_t built;
  fs::path polar;  // of the built blade
  std::vector<physics::DesignStation> stations;
  physics::BladeLoads loads;  // at the design point
  physics::SafeSpeed safe;
};

std::size_t index_of(const std::vector<physics::PracticalBlade>& blades,
                     const bench::DesignFile& file) {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < blades.size(); ++i) {
    if (blades[i].name == file.build) return i;
    names.push_back(blades[i].name);
  }
  throw base::BadInput(file.build_place, fmt::format("build is '{}'", file.build),
                       base::either_of(names));
}

fs::path polar_of(const bench::DesignFile& file, const std::string& name) {
  for (const auto& [section, path] : file.polars) {
    if (name == section || name.ends_with("+" + section)) return path;
  }
  return file.polar;
}

Designed designed(const RotorDesignRequest& request) {
  Designed result{.file = bench::design_from_file(request.design),
                  .blades = {},
                  .built = 0,
                  .polar = {},
                  .stations = {},
                  .loads = {},
                  .safe = {}};
  bench::DesignFile& file = result.file;
  if (!request.plate_polar.empty()) {
    file.polars["plate"] = request.plate_polar;
    file.compromises.sections.push_back(
        {"plate",
         std::make_shared<const physics::Polar>(bench::polar_from_file(request.plate_polar))});
  }
  result.blades = physics::practical_blades(file.task, file.options, file.compromises);
  result.built = index_of(result.blades, file);
  const physics::PracticalBlade& built = result.blades[result.built];
  result.polar = polar_of(file, built.name);
  result.stations = physics::stations_at_work(built.rotor, file.task);
  result.loads =
      physics::blade_loads(built.rotor, file.blade.blade,
                           {.air_speed_m_s = file.task.air_speed_m_s,
                            .rotor_speed_rad_s = file.task.tip_speed_ratio *
                                                 file.task.air_speed_m_s / file.task.tip_radius_m,
                            .density_kg_m3 = file.task.density_kg_m3,
                            .dynamic_viscosity_Pa_s = file.task.dynamic_viscosity_Pa_s});
  result.safe =
      physics::safe_rotor_speed(built.rotor, file.blade.blade,
                                {.highest_air_speed_m_s = file.highest_air_speed_m_s,
                                 .pitches_rad = {0.0},
                                 .blades = file.task.blades,
                                 .density_kg_m3 = file.task.density_kg_m3,
                                 .dynamic_viscosity_Pa_s = file.task.dynamic_viscosity_Pa_s});
  return result;
}

std::vector<Product> products(const Designed& result) {
  const bench::DesignFile& file = result.file;
  const physics::PracticalBlade& built = result.blades[result.built];
  const std::string polar = result.polar.filename().string();
  const std::string comment = fmt::format(
      "Designed for a tip-speed ratio of {} at {} m/s; blade: {}. Power coefficient there {:.4f} "
      "by "
      "blade-element momentum theory.\nTwist is from the rotor plane, positive towards feather.",
      base::number_text(file.task.tip_speed_ratio), base::number_text(file.task.air_speed_m_s),
      built.name, built.cp);
  std::vector<Product> list;
  list.push_back({"rotor.toml",
                  bench::rotor_text({.rotor = built.rotor, .blade = file.blade}, polar, comment)});
  list.push_back({polar, base::text_of_file(result.polar)});
  if (file.blade.section_file) {
    list.push_back(
        {file.blade.section_file->filename(), base::text_of_file(*file.blade.section_file)});
  }
  list.push_back({"stations.csv", bench::station_csv(result.stations)});
  list.push_back({"comparison.csv", comparison_csv(result.blades)});
  for (std::size_t i = 0; i < built.rotor.stations.size(); ++i) {
    const physics::RotorStation& station = built.rotor.stations[i];
    list.push_back(
        {fs::path("sections") / fmt::format("station-{:02}.csv", i + 1),
         bench::section_csv(physics::section_ring(station, file.blade.blade.section, file.solid),
                            station.radius_m)});
  }
  list.push_back({"blade.stl", bench::stl_bytes(physics::blade_solid(
                                   built.rotor, file.blade.blade.section, file.solid))});
  return list;
}

void write_products(const std::vector<Product>& list, const RotorDesignRequest& request) {
  const fs::path folder(request.into);
  for (const Product& product : list) {
    if (!request.replace && fs::exists(folder / product.name)) {
      throw base::BadInput("--into",
                           fmt::format("{} is already there", (folder / product.name).string()),
                           "another folder, or --replace");
    }
  }
  for (const Product& product : list) {
    fs::create_directories((folder / product.name).parent_path());
    base::write_whole(folder / product.name, product.text);
  }
}

boost::json::object to_json(const Designed& result, const std::vector<Product>& list) {
  const physics::PracticalBlade& built = result.blades[result.built];
  boost::json::array blades;
  for (const physics::PracticalBlade& blade : result.blades) {
    boost::json::object entry{{"blade", blade.name}};
    for (const auto& [name, value] : columns_of(blade, result.blades.front()))
      entry[name] = value;
    blades.push_back(std::move(entry));
  }
  boost::json::array stations;
  for (const physics::DesignStation& station : result.stations) {
    stations.push_back({{"radius_m", station.radius_m},
                        {"chord_m", station.chord_m},
                        {"twist_deg", station.twist_rad / degree},
                        {"inflow_angle_deg", station.inflow_angle_rad / degree},
                        {"angle_of_attack_deg", station.angle_of_attack_rad / degree},
                        {"cl", station.cl},
                        {"cd", station.cd},
                        {"reynolds", station.reynolds},
                        {"loss_factor", station.loss_factor},
                        {"blade_loading", station.blade_loading}});
  }
  boost::json::object root;
  for (const auto& [name, value] : cli::columns_of(result.loads.root))
    root[name] = value;
  boost::json::array files;
  for (const Product& product : list)
    files.push_back(boost::json::string(product.name.string()));
  return {{"built", built.name},
          {"cp", built.cp},
          {"blades", std::move(blades)},
          {"stations", std::move(stations)},
          {"unsettled_stations", built.unsettled_stations},
          {"blade_mass_kg", result.loads.blade_mass_kg},
          {"blade_inertia_kg_m2", result.loads.blade_inertia_kg_m2},
          {"root_at_design_point", std::move(root)},
          {"safe_speed", cli::to_json(result.safe)},
          {"files", std::move(files)}};
}

void note(const Designed& result, const RotorDesignRequest& request, std::size_t files) {
  const auto& task = result.file.task;
  std::size_t below = 0;
  std::size_t above = 0;
  for (const physics::DesignStation& station : result.stations) {
    below += station.below_reynolds ? 1U : 0U;
    above += station.above_reynolds ? 1U : 0U;
  }
  const auto say = [&](std::size_t count, const char* what) {
    if (count > 0)
      fmt::print(stderr, "note: at {} of {} stations {}\n", count, result.stations.size(), what);
  };
  say(below, "the Reynolds number lies below the polar's lowest; that table was held");
  say(above, "the Reynolds number lies above the polar's highest; that table was held");
  say(static_cast<std::size_t>(result.blades[result.built].unsettled_stations),
      "chord and Reynolds number did not come to rest");
  fmt::print(stderr, "note: '{}' written to {} ({} files) for {} blades\n",
             result.blades[result.built].name, request.into, files, task.blades);
  fmt::print(stderr, "note: {}\n",
             safe_speed_sentence(result.safe, result.file.highest_air_speed_m_s,
                                 result.file.blade.blade.allowable_stress_Pa));
}

}  // namespace

void design_rotor(const RotorDesignRequest& request) {
  if (request.into.empty()) {
    throw base::BadInput("--into", "is missing", "the folder that the design is written to");
  }
  const Designed result = designed(request);
  const std::vector<Product> list = products(result);
  write_products(list, request);
  if (request.json) {
    fmt::print("{}", base::json_text(to_json(result, list)));
  } else {
    fmt::print("{}", comparison_csv(result.blades));
  }
  note(result, request, list.size());
}

}  // namespace windwright::cli
