// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_blade_loads.h"

#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/rotor_file.h"
#include "cli/blade_json.h"
#include "cli/option_values.h"
#include "cli/rotor_text.h"
#include "physics/air.h"
#include "physics/blade_strength.h"
#include "physics/rotor.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr int rows = 10;  // steps from standstill to the safe speed

std::optional<double> section_area_m2(const std::string& tunnel_area) {
  if (tunnel_area.empty()) return std::nullopt;
  return number_within("--tunnel-area", tunnel_area, {1e-6, 1e6});
}

physics::LoadEnvelope envelope_of(const BladeLoadsRequest& request, physics::Rotor& rotor) {
  if (request.air_speed.empty()) {
    throw base::BadInput("--air-speed", "is missing",
                         "the highest air speed the blades are to stand, in m/s");
  }
  if (!request.pitch.empty())
    rotor.pitch_rad = number_within("--pitch", request.pitch, {-180.0, 180.0}) * degree;
  if (!request.blades.empty()) {
    const auto counts = whole_sweep_within("--blades", request.blades, {1.0, 12.0});
    if (counts.size() != 1) {
      throw base::BadInput("--blades",
                           fmt::format("is '{}' together with --blade-loads", request.blades),
                           "one whole number from 1 to 12");
    }
    rotor.blades = counts.front();
  }
  const double viscosity_Pa_s =
      physics::dynamic_viscosity_Pa_s({.temperature_K = physics::standard_temperature_K,
                                       .pressure_Pa = physics::standard_pressure_Pa,
                                       .relative_humidity = 0.0});
  return {
      .highest_air_speed_m_s = number_within("--air-speed", request.air_speed, {0.0, 200.0}),
      .pitches_rad = {rotor.pitch_rad},
      .blades = rotor.blades,
      .density_kg_m3 = request.density.empty()
                           ? physics::standard_density_kg_m3
                           : number_within("--density", request.density, {0.01, 20.0}),
      .dynamic_viscosity_Pa_s = request.viscosity.empty()
                                    ? viscosity_Pa_s
                                    : number_within("--viscosity", request.viscosity, {1e-6, 1e-3}),
      .section_area_m2 = section_area_m2(request.tunnel_area)};
}

struct Row {
  double rotor_speed_rad_s;
  physics::BladeLoads loads;
};

std::vector<Row> rows_of(const physics::Rotor& rotor, const physics::Blade& blade,
                         const physics::LoadEnvelope& envelope, double highest_rad_s) {
  std::vector<Row> list;
  for (int i = 0; i <= rows; ++i) {
    const double rotor_speed_rad_s = highest_rad_s * i / rows;
    const physics::RotorFlow flow =
        physics::flow_at_blades(rotor, envelope, envelope.highest_air_speed_m_s, rotor_speed_rad_s);
    list.push_back({rotor_speed_rad_s, physics::blade_loads(rotor, blade, flow)});
    if (highest_rad_s <= 0.0) break;
  }
  return list;
}

std::vector<std::pair<const char*, double>> columns_of(const Row& row, double air_speed_m_s,
                                                       double allowable_stress_Pa) {
  std::vector<std::pair<const char*, double>> columns{{"air_speed_m_s", air_speed_m_s},
                                                      {"rotor_speed_rad_s", row.rotor_speed_rad_s},
                                                      {"tip_speed_m_s", row.loads.tip_speed_m_s}};
  for (const auto& column : cli::columns_of(row.loads.root))
    columns.push_back(column);
  columns.emplace_back("worst_radius_m", row.loads.worst.radius_m);
  columns.emplace_back("worst_stress_Pa", row.loads.worst.stress_Pa);
  columns.emplace_back("share_of_allowable_pct",
                       100.0 * row.loads.worst.stress_Pa / allowable_stress_Pa);
  return columns;
}

}  // namespace

void show_blade_loads(const BladeLoadsRequest& request) {
  bench::RotorFile file = bench::rotor_and_blade_from_file(request.file);
  if (!file.blade) {
    throw base::BadInput(request.file + ":1", "does not say what the blades are made of",
                         "a table [blade] with density_kg_m3, strength_Pa and section");
  }
  const physics::LoadEnvelope envelope = envelope_of(request, file.rotor);
  const physics::Blade& blade = file.blade->blade;
  const physics::SafeSpeed safe = physics::safe_rotor_speed(file.rotor, blade, envelope);
  const auto list = rows_of(file.rotor, blade, envelope, safe.rotor_speed_rad_s);
  std::string csv;
  boost::json::array entries;
  for (const Row& row : list) {
    std::string header;
    std::string line;
    boost::json::object entry;
    for (const auto& [name, value] :
         columns_of(row, envelope.highest_air_speed_m_s, blade.allowable_stress_Pa)) {
      header += (header.empty() ? "" : ",") + std::string(name);
      line += (line.empty() ? "" : ",") + base::number_text(value);
      entry[name] = value;
    }
    if (csv.empty()) csv = fmt::format("{}\n", header);
    csv += fmt::format("{}\n", line);
    entries.push_back(std::move(entry));
  }
  std::string sentence =
      safe_speed_sentence(safe, envelope.highest_air_speed_m_s, blade.allowable_stress_Pa);
  sentence += tip_speed_remark(safe.rotor_speed_rad_s * file.rotor.tip_radius_m);
  if (!request.json) {
    fmt::print("{}", csv);
    fmt::print(stderr, "note: {}\n", sentence);
    return;
  }
  fmt::print("{}", base::json_text(boost::json::object{
                       {"blade_mass_kg", list.front().loads.blade_mass_kg},
                       {"blade_inertia_kg_m2", list.front().loads.blade_inertia_kg_m2},
                       {"strength_Pa", file.blade->strength_Pa},
                       {"safety_factor", file.blade->safety_factor},
                       {"allowable_stress_Pa", blade.allowable_stress_Pa},
                       {"safe_speed", to_json(safe)},
                       {"root", std::move(entries)},
                       {"note", sentence}}));
}

}  // namespace windwright::cli
