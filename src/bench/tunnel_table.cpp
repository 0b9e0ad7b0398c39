// SPDX-License-Identifier: Apache-2.0
#include "bench/tunnel_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"
#include "physics/inflow_profile.h"
#include "physics/rotor.h"
#include "physics/tunnel.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Settings;

void read_section(const Settings& table, Bench& bench) {
  if (!table.has("section_area_m2")) return;
  const double area_m2 = table.number("section_area_m2", {.at_most = 1e4, .above = 0.0});
  const double rotor_m2 = physics::swept_area_m2(bench.rotor);
  if (area_m2 <= rotor_m2) {
    throw BadInput(table.place("section_area_m2"),
                   fmt::format("the rotor sweeps {:.4g} m2 and does not fit into it", rotor_m2),
                   "the clear area of the closed section, or no such key for an open jet");
  }
  bench.tunnel.section_area_m2 = area_m2;
}

physics::InflowProfile read_profile(const Settings& table, double tip_radius_m) {
  const physics::InflowProfile profile{
      .radius_m = table.numbers("profile_radius_m", {.at_least = 0.0, .at_most = 100.0}),
      .speed_ratio = table.numbers("profile_speed_ratio", {.at_least = 0.3, .at_most = 2.0}),
      .u_speed_ratio = table.number("u_profile_speed_ratio", {.at_least = 0.0, .at_most = 0.2})};
  const auto& radius_m = profile.radius_m;
  if (radius_m.size() < 2 || radius_m.size() != profile.speed_ratio.size()) {
    throw BadInput(table.place("profile_speed_ratio"),
                   fmt::format("{} speed ratios stand against {} radii", profile.speed_ratio.size(),
                               radius_m.size()),
                   "one for each radius, two at least");
  }
  if (std::adjacent_find(radius_m.begin(), radius_m.end(),
                         [](double a, double b) { return b <= a; }) != radius_m.end()) {
    throw BadInput(table.place("profile_radius_m"), "the radii do not ascend",
                   "from the axis outwards, each once");
  }
  if (radius_m.back() < tip_radius_m) {
    throw BadInput(table.place("profile_radius_m"),
                   fmt::format("the profile ends at {} m, inside the rotor's tip at {} m",
                               radius_m.back(), tip_radius_m),
                   "a traverse that reaches at least the tip");
  }
  return profile;
}

void read_disc(const Settings& table, Bench& bench) {
  constexpr base::Bounds widest_u{.at_least = 0.0, .at_most = 0.2};
  if (!table.has("profile_radius_m")) {
    bench.position_factor = table.number("position_factor", {.at_least = 0.5, .at_most = 2.0});
    bench.u_position_factor = table.number("u_position_factor", widest_u);
    return;
  }
  for (const char* key : {"position_factor", "u_position_factor"}) {
    if (!table.has(key)) continue;
    throw BadInput(table.place(key),
                   fmt::format("{} does not go with a profile, whose area mean stands for it", key),
                   "leave it out, or the profile");
  }
  const physics::DiscInflow disc =
      physics::disc_inflow(read_profile(table, bench.rotor.tip_radius_m), bench.rotor.tip_radius_m);
  bench.position_factor = disc.speed_ratio;
  bench.u_position_factor = disc.u_speed_ratio;
  bench.disc_cube.profile = disc.cube_factor;
  bench.disc_cube.u_profile = disc.u_cube_factor;
}

void read_unresolved_turbulence(const Settings& table, Bench& bench) {
  if (!table.has("unresolved_turbulence_pct")) return;
  const base::Bounds bounds{.at_least = 0.0, .at_most = 30.0};
  const double intensity = table.number("unresolved_turbulence_pct", bounds) / 100.0;
  const double u = table.number("u_unresolved_turbulence_pct", bounds) / 100.0;
  bench.disc_cube.unresolved_turbulence = physics::turbulence_cube_factor(intensity);
  bench.disc_cube.u_unresolved_turbulence =
      0.5 * (physics::turbulence_cube_factor(intensity + u) -
             physics::turbulence_cube_factor(std::max(intensity - u, 0.0)));
}

}  // namespace

void read_tunnel_table(const Settings& table, Bench& bench) {
  bench.tunnel = {
      .rated_air_speed_m_s = table.number("rated_air_speed_m_s", {.at_most = 100.0, .above = 0.0}),
      .time_constant_s = table.number("time_constant_s", {.at_least = 0.01, .at_most = 600.0}),
      .turbulence_intensity =
          table.number("turbulence_intensity_pct", {.at_least = 0.0, .at_most = 30.0}) / 100.0,
      .integral_length_m = table.number("integral_length_m", {.at_least = 1e-3, .at_most = 100.0})};
  read_section(table, bench);
  read_disc(table, bench);
  read_unresolved_turbulence(table, bench);
}

}  // namespace windwright::bench
