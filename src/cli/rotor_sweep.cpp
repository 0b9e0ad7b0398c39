// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_sweep.h"

#include "base/errors.h"
#include "cli/option_values.h"
#include "physics/air.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <cmath>
#include <numbers>
#include <optional>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double rad_s_from_rpm = std::numbers::pi / 30.0;
constexpr double most_points = 100000.0;

std::vector<AirAndSpeed> speeds(const RotorVerbOptions& options, double tip_radius_m) {
  constexpr Limits air_m_s{0.0, 200.0};
  std::vector<AirAndSpeed> list;
  if (!options.tsr.empty()) {
    if (!options.air_speeds.empty() || !options.rotor_speed_rpm.empty()) {
      throw base::BadInput("--tsr", "is given together with a sweep of the air speed",
                           "--air-speed V --tsr A:STEP:B, or --rotor-speed-rpm N --air-speeds "
                           "A:STEP:B");
    }
    if (options.air_speed.empty()) {
      throw base::BadInput("--air-speed", "is missing", "the air speed in m/s, with --tsr");
    }
    const double V = number_within("--air-speed", options.air_speed, {0.01, air_m_s.highest});
    for (const double ratio : sweep_within("--tsr", options.tsr, {0.0, 100.0}))
      list.push_back({V, ratio * V / tip_radius_m, ratio});
    return list;
  }
  if (options.rotor_speed_rpm.empty() || options.air_speeds.empty()) {
    throw base::BadInput("--tsr", "is missing",
                         "--air-speed V --tsr A:STEP:B, or --rotor-speed-rpm N --air-speeds "
                         "A:STEP:B");
  }
  if (!options.air_speed.empty()) {
    throw base::BadInput("--air-speed", "is given together with --air-speeds", "one of them");
  }
  const double speed_rad_s =
      number_within("--rotor-speed-rpm", options.rotor_speed_rpm, {0.0, 1e5}) * rad_s_from_rpm;
  for (const double V : sweep_within("--air-speeds", options.air_speeds, air_m_s))
    list.push_back({V, speed_rad_s, std::nullopt});
  return list;
}

physics::RotorOptions rotor_options(const RotorVerbOptions& options) {
  constexpr std::pair<std::string_view, physics::Losses> known[]{{"none", physics::Losses::none},
                                                                 {"tip", physics::Losses::tip},
                                                                 {"root", physics::Losses::root},
                                                                 {"both", physics::Losses::both}};
  for (const auto& [name, losses] : known) {
    if (options.losses == name) {
      return {.losses = losses,
              .rotational_augmentation =
                  on_or_off("--rotational-augmentation", options.rotational_augmentation)};
    }
  }
  throw base::BadInput("--losses", fmt::format("is '{}'", options.losses),
                       "none, tip, root or both");
}

double yaw_rad(const RotorVerbOptions& options) {
  if (options.yaw.empty()) return 0.0;
  return number_within("--yaw", options.yaw, {-60.0, 60.0}) * degree;
}

std::optional<double> section_area_m2(const RotorVerbOptions& options,
                                      const physics::Rotor& rotor) {
  if (options.tunnel_area.empty()) return std::nullopt;
  if (yaw_rad(options) != 0.0) {
    throw base::BadInput("--yaw", "is given together with --tunnel-area",
                         "one of them: the theory of the walls has the disc straight across");
  }
  const double area_m2 = number_within("--tunnel-area", options.tunnel_area, {0.0, 1e6});
  const double rotor_area_m2 = physics::swept_area_m2(rotor);
  if (!(area_m2 > rotor_area_m2)) {
    throw base::BadInput(
        "--tunnel-area", fmt::format("is '{}'", options.tunnel_area),
        fmt::format("the section's clear area in m2, above the rotor's {:.4g}", rotor_area_m2));
  }
  return area_m2;
}

}  // namespace

double density_kg_m3(const RotorVerbOptions& options) {
  if (options.density.empty()) return physics::standard_density_kg_m3;
  return number_within("--density", options.density, {0.01, 20.0});
}

double viscosity_Pa_s(const RotorVerbOptions& options) {
  if (!options.viscosity.empty()) {
    return number_within("--viscosity", options.viscosity, {1e-6, 1e-3});
  }
  return physics::dynamic_viscosity_Pa_s({.temperature_K = physics::standard_temperature_K,
                                          .pressure_Pa = physics::standard_pressure_Pa,
                                          .relative_humidity = 0.0});
}

std::vector<double> pitches_deg(const RotorVerbOptions& options, const physics::Rotor& rotor) {
  if (!options.pitch.empty()) return sweep_within("--pitch", options.pitch, {-180.0, 180.0});
  return {std::round(rotor.pitch_rad / degree * 1e9) / 1e9};
}

RotorSweep rotor_sweep(const RotorVerbOptions& options, const physics::Rotor& rotor) {
  RotorSweep sweep{.rotor = rotor,
                   .method = rotor_options(options),
                   .blade_counts = {rotor.blades},
                   .pitches_deg = pitches_deg(options, rotor),
                   .speeds = speeds(options, rotor.tip_radius_m),
                   .density_kg_m3 = density_kg_m3(options),
                   .dynamic_viscosity_Pa_s = viscosity_Pa_s(options),
                   .yaw_rad = yaw_rad(options),
                   .section_area_m2 = section_area_m2(options, rotor),
                   .spanwise = options.spanwise};
  if (!options.blades.empty()) {
    sweep.blade_counts = whole_sweep_within("--blades", options.blades, {1.0, 12.0});
  }
  const auto size = [](const auto& list) { return static_cast<double>(list.size()); };
  if (size(sweep.speeds) * size(sweep.pitches_deg) * size(sweep.blade_counts) > most_points) {
    throw base::BadInput(sweep.pitches_deg.size() > 1 ? "--pitch" : "--blades",
                         "makes too many points together with the other sweeps",
                         fmt::format("at most {} points", most_points));
  }
  return sweep;
}

namespace {

SweepPoint sweep_point(const RotorSweep& sweep, const physics::Rotor& rotor,
                       const AirAndSpeed& speed) {
  SweepPoint point{.blade_count = rotor.blades,
                   .pitch_deg = rotor.pitch_rad / degree,
                   .flow = {.air_speed_m_s = speed.air_speed_m_s,
                            .rotor_speed_rad_s = speed.rotor_speed_rad_s,
                            .density_kg_m3 = sweep.density_kg_m3,
                            .dynamic_viscosity_Pa_s = sweep.dynamic_viscosity_Pa_s,
                            .yaw_rad = sweep.yaw_rad},
                   .span = {},
                   .tunnel = std::nullopt,
                   .tunnel_blockage = 0.0};
  physics::RotorFlow seen = point.flow;
  if (sweep.section_area_m2) {
    point.tunnel =
        physics::rotor_in_tunnel(rotor, point.flow, *sweep.section_area_m2, sweep.method);
    seen.air_speed_m_s = point.tunnel->free_air_speed_m_s;
    point.tunnel_blockage = physics::swept_area_m2(rotor) / *sweep.section_area_m2;
    point.span.total = point.tunnel->load;
  }
  if (sweep.spanwise) {
    auto span = physics::rotor_span(rotor, seen, sweep.method);
    if (point.tunnel) span.total = point.tunnel->load;
    point.span = std::move(span);
  } else if (!point.tunnel) {
    point.span.total = physics::rotor_load(rotor, seen, sweep.method);
  }
  // Not the ratio worked out again, which would show as 7.000000000000001.
  if (speed.tip_speed_ratio) point.span.total.tip_speed_ratio = *speed.tip_speed_ratio;
  return point;
}

}  // namespace

std::vector<SweepPoint> sweep_points(const RotorSweep& sweep) {
  std::vector<SweepPoint> all;
  physics::Rotor rotor = sweep.rotor;
  for (const int blades : sweep.blade_counts) {
    rotor.blades = blades;
    for (const double pitch_deg : sweep.pitches_deg) {
      rotor.pitch_rad = pitch_deg * degree;
      for (const AirAndSpeed& speed : sweep.speeds) {
        all.push_back(sweep_point(sweep, rotor, speed));
        all.back().pitch_deg = pitch_deg;
      }
    }
  }
  return all;
}

}  // namespace windwright::cli
