// SPDX-License-Identifier: Apache-2.0
#include "bench/design_file.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "bench/blade_file.h"
#include "bench/rotor_file.h"
#include "physics/air.h"
#include "physics/blade_design.h"
#include "physics/blade_solid.h"
#include "physics/polar.h"
#include "physics/practical_blade.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <memory>
#include <numbers>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Settings;

constexpr double degree = std::numbers::pi / 180.0;
constexpr double largest_radius_m = 200.0;

physics::DesignTask read_task(const Settings& table) {
  const double viscosity_Pa_s =
      physics::dynamic_viscosity_Pa_s({.temperature_K = physics::standard_temperature_K,
                                       .pressure_Pa = physics::standard_pressure_Pa,
                                       .relative_humidity = 0.0});
  physics::DesignTask task{
      .blades = table.integer("blades", {.at_least = 1.0, .at_most = 12.0}),
      .hub_radius_m = table.number("hub_radius_m", {.at_most = largest_radius_m, .above = 0.0}),
      .tip_radius_m = table.number("tip_radius_m", {.at_most = largest_radius_m, .above = 0.0}),
      .tip_speed_ratio = table.number("tip_speed_ratio", {.at_least = 0.1, .at_most = 25.0}),
      .air_speed_m_s = table.number("air_speed_m_s", {.at_least = 0.1, .at_most = 100.0}),
      .density_kg_m3 = table.number_or("density_kg_m3", physics::standard_density_kg_m3,
                                       {.at_least = 0.01, .at_most = 20.0}),
      .dynamic_viscosity_Pa_s = table.number_or("dynamic_viscosity_Pa_s", viscosity_Pa_s,
                                                {.at_least = 1e-6, .at_most = 1e-3}),
      .polar = nullptr};
  if (task.hub_radius_m >= task.tip_radius_m) {
    throw BadInput(
        table.place("hub_radius_m"),
        fmt::format("hub_radius_m is {}, tip_radius_m {}", task.hub_radius_m, task.tip_radius_m),
        "a hub radius below the tip radius");
  }
  return task;
}

physics::DesignOptions read_options(const Settings& table) {
  constexpr std::pair<std::string_view, physics::Losses> known[]{{"none", physics::Losses::none},
                                                                 {"tip", physics::Losses::tip},
                                                                 {"root", physics::Losses::root},
                                                                 {"both", physics::Losses::both}};
  physics::DesignOptions options{
      .wake_rotation = table.flag_or("wake_rotation", true),
      .drag = table.flag_or("drag", true),
      .stations = table.integer_or("stations", 21, {.at_least = 2.0, .at_most = 200.0})};
  if (table.has("angle_of_attack_deg")) {
    options.angle_of_attack_rad =
        table.number("angle_of_attack_deg", {.at_least = -20.0, .at_most = 30.0}) * degree;
  }
  const std::string losses = table.text_or("losses", "tip");
  for (const auto& [name, value] : known) {
    if (losses == name) {
      options.losses = value;
      return options;
    }
  }
  throw BadInput(table.place("losses"), fmt::format("losses is '{}'", losses),
                 "none, tip, root or both");
}

std::shared_ptr<const physics::Polar> read_polar(const Settings& table, std::string_view key,
                                                 const std::filesystem::path& folder,
                                                 std::filesystem::path& path) {
  path = base::named_file(folder, folder, table.text(key), table.place(key));
  return std::make_shared<const physics::Polar>(polar_from_file(path));
}

void read_practical(const Settings& table, const std::filesystem::path& folder,
                    DesignFile& design) {
  if (table.has("largest_chord_m")) {
    design.compromises.largest_chord_m =
        table.number("largest_chord_m", {.at_most = design.task.tip_radius_m, .above = 0.0});
  }
  design.compromises.linear_twist = table.flag_or("linear_twist", false);
  for (const std::string_view name : {"flat_plate", "cambered_plate"}) {
    const std::string key = fmt::format("{}_polar", name);
    if (!table.has(key)) continue;
    auto polar = read_polar(table, key, folder, design.polars[std::string(name)]);
    design.compromises.sections.push_back({std::string(name), std::move(polar)});
  }
  design.build = table.text_or("build", "optimum");
  design.build_place = table.has("build") ? table.place("build") : table.place();
}

physics::SolidOptions read_solid(const Settings& table, const physics::DesignTask& task) {
  const base::Bounds size{.at_most = task.tip_radius_m, .above = 0.0};
  physics::SolidOptions solid{
      .points_per_side = table.integer_or("points_per_side", 61, {.at_least = 5, .at_most = 400}),
      .longest_step_m =
          table.number_or("longest_step_m", 0.01 * (task.tip_radius_m - task.hub_radius_m),
                          {.at_least = 1e-3 * task.tip_radius_m, .at_most = task.tip_radius_m})};
  if (table.has("pitch_axis_pct")) {
    solid.pitch_axis = table.number("pitch_axis_pct", {.at_least = 0.0, .at_most = 100.0}) / 100.0;
  }
  if (table.has("stub_diameter_m")) {
    solid.stub = physics::RootStub{.diameter_m = table.number("stub_diameter_m", size),
                                   .length_m = table.number("stub_length_m", size),
                                   .blend_m = table.number("stub_blend_m", size)};
    if (solid.stub->length_m + solid.stub->blend_m > task.hub_radius_m) {
      throw BadInput(table.place("stub_length_m"),
                     fmt::format("stub_length_m and stub_blend_m make {:.6g} m, the hub radius is "
                                 "{:.6g} m",
                                 solid.stub->length_m + solid.stub->blend_m, task.hub_radius_m),
                     "at most the hub radius together");
    }
  }
  const std::string turns = table.text_or("turns", "clockwise");
  solid.clockwise = turns == "clockwise";
  if (!solid.clockwise && turns != "counter-clockwise") {
    throw BadInput(table.place("turns"), fmt::format("turns is '{}'", turns),
                   "\"clockwise\" or \"counter-clockwise\", seen from upwind");
  }
  return solid;
}

}  // namespace

DesignFile design_from_file(const std::filesystem::path& file) {
  const auto settings = Settings::from_file(file);
  const std::filesystem::path folder =
      file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
  const Settings keys = settings.table("design");
  DesignFile design{};
  design.task = read_task(keys);
  design.options = read_options(keys);
  design.task.polar = read_polar(keys, "polar", folder, design.polar);
  design.highest_air_speed_m_s =
      keys.number_or("highest_air_speed_m_s", 1.5 * design.task.air_speed_m_s,
                     {.at_least = design.task.air_speed_m_s, .at_most = 200.0});
  design.build = "optimum";
  design.build_place = settings.place();
  if (const auto practical = settings.optional_table("practical")) {
    read_practical(*practical, folder, design);
  }
  // How wide the blade will be is not known yet: checked again when it is.
  design.blade = blade_from(settings.table("blade"), folder, design.task.tip_radius_m);
  if (const auto solid = settings.optional_table("solid")) {
    design.solid = read_solid(*solid, design.task);
  } else {
    design.solid.longest_step_m = 0.01 * (design.task.tip_radius_m - design.task.hub_radius_m);
  }
  if (design.solid.stub) design.blade.blade.root_diameter_m = design.solid.stub->diameter_m;
  settings.refuse_unread_keys();
  return design;
}

}  // namespace windwright::bench
