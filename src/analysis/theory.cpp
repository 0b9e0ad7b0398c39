// SPDX-License-Identifier: Apache-2.0
#include "analysis/theory.h"

#include "analysis/results.h"
#include "physics/blockage.h"
#include "physics/operating_point.h"
#include "physics/rotor.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <vector>

namespace windwright::analysis {

namespace {

constexpr double rad_in_deg = std::numbers::pi / 180.0;

physics::Rotor rotor_of(const TheoryInput& input, const Curve& curve, double pitch_deg) {
  physics::Rotor rotor = input.reduction.rotor;
  rotor.blades = curve.blade_count;
  rotor.pitch_rad = pitch_deg * rad_in_deg;
  return rotor;
}

// The curve's mean air; the rotor speed follows from the tip-speed ratio.
physics::RotorFlow mean_flow(const Curve& curve) {
  physics::RotorFlow flow{.air_speed_m_s = 0.0,
                          .rotor_speed_rad_s = 0.0,
                          .density_kg_m3 = 0.0,
                          .dynamic_viscosity_Pa_s = 0.0};
  const double share = 1.0 / static_cast<double>(curve.points.size());
  for (const PointResult& point : curve.points) {
    flow.air_speed_m_s += share * point.air_speed_m_s.value();
    flow.density_kg_m3 += share * point.air_density_kg_m3.value();
    flow.dynamic_viscosity_Pa_s += share * point.dynamic_viscosity_Pa_s;
  }
  return flow;
}

// Of a bench with a closed section as it shows there; coefficients on the tunnel's air speed.
TheoryPoint theory_point(const TheoryInput& input, const physics::Rotor& rotor,
                         physics::RotorFlow flow, double tip_speed_ratio) {
  flow.rotor_speed_rad_s = tip_speed_ratio * flow.air_speed_m_s / rotor.tip_radius_m;
  const double wind_power_W = 0.5 * flow.density_kg_m3 * physics::swept_area_m2(rotor) *
                              flow.air_speed_m_s * flow.air_speed_m_s * flow.air_speed_m_s;
  if (input.section) {
    flow.air_speed_m_s =
        physics::rotor_in_tunnel(rotor, flow, input.section->section_area_m2).free_air_speed_m_s;
  }
  TheoryPoint point{.tip_speed_ratio = tip_speed_ratio,
                    .cp_shaft = physics::rotor_load(rotor, flow).power_W / wind_power_W,
                    .cp_electrical = std::numeric_limits<double>::quiet_NaN()};
  if (input.reduction.bench == nullptr) return point;
  if (const auto balance =
          physics::operating_point(rotor, input.reduction.bench->generator, flow)) {
    point.cp_electrical = balance->generator.dc_power_W / wind_power_W;
  }
  return point;
}

// Points come sorted by tip-speed ratio.
double smallest(const Curve& curve) {
  return curve.points.front().tip_speed_ratio.value();
}
double largest(const Curve& curve) {
  return curve.points.back().tip_speed_ratio.value();
}

struct Top {
  double tip_speed_ratio;  // NaN: not inside
  double cp;
};

// The largest cp of an even grid, and its place by the parabola through it and its neighbours. Cp
// is NaN where the generator cannot hold the point.
Top top_on(const std::vector<Top>& grid) {
  Top top{.tip_speed_ratio = std::numeric_limits<double>::quiet_NaN(), .cp = 0.0};
  std::size_t at = 0;
  for (std::size_t i = 0; i < grid.size(); ++i) {
    if (!(grid[i].cp > top.cp)) continue;
    top.cp = grid[i].cp;
    at = i;
  }
  if (at == 0 || at + 1 >= grid.size()) return top;
  const double left = grid[at - 1].cp;
  const double right = grid[at + 1].cp;
  const double step = grid[at].tip_speed_ratio - grid[at - 1].tip_speed_ratio;
  top.tip_speed_ratio =
      grid[at].tip_speed_ratio + 0.5 * step * (left - right) / (left - 2.0 * top.cp + right);
  return top;
}

}  // namespace

void add_theory(const TheoryInput& input, Curve& curve) {
  const physics::Rotor rotor = rotor_of(input, curve, curve.pitch_deg);
  const physics::RotorFlow flow = mean_flow(curve);
  constexpr int steps = 60;
  // A rotor at rest has no place on a curve of power.
  const double from = std::max(0.6 * smallest(curve), 0.1);
  const double to = std::max(1.3 * largest(curve), from + 0.1);
  for (int i = 0; i <= steps; ++i)
    curve.theory.push_back(theory_point(input, rotor, flow, from + (to - from) * i / steps));
  for (PointResult& point : curve.points) {
    const physics::RotorFlow own{.air_speed_m_s = point.air_speed_m_s.value(),
                                 .rotor_speed_rad_s = 0.0,
                                 .density_kg_m3 = point.air_density_kg_m3.value(),
                                 .dynamic_viscosity_Pa_s = point.dynamic_viscosity_Pa_s};
    point.theory = theory_point(input, rotor, own, std::max(point.tip_speed_ratio.value(), 0.01));
  }
}

PitchSensitivity pitch_sensitivity(const TheoryInput& input, const Curve& curve,
                                   double half_step_deg) {
  const physics::RotorFlow flow = mean_flow(curve);
  const auto top_of = [&](double pitch_deg) {
    const physics::Rotor rotor = rotor_of(input, curve, pitch_deg);
    constexpr int steps = 40;
    std::vector<Top> grid;
    for (int i = 0; i <= steps; ++i) {
      const double tip_speed_ratio = std::max(0.6 * smallest(curve), 0.1) +
                                     (1.3 * largest(curve) - 0.6 * smallest(curve)) * i / steps;
      const TheoryPoint point = theory_point(input, rotor, flow, tip_speed_ratio);
      grid.push_back({.tip_speed_ratio = tip_speed_ratio,
                      .cp = curve.stage == "electrical" ? point.cp_electrical : point.cp_shaft});
    }
    return top_on(grid);
  };
  const Top middle = top_of(curve.pitch_deg);
  if (middle.cp <= 0.0) return {.relative_cp_per_deg = 0.0, .optimum_tip_speed_ratio_per_deg = 0.0};
  const Top above = top_of(curve.pitch_deg + half_step_deg);
  const Top below = top_of(curve.pitch_deg - half_step_deg);
  const double shift = (above.tip_speed_ratio - below.tip_speed_ratio) / (2.0 * half_step_deg);
  return {.relative_cp_per_deg = (above.cp - below.cp) / (2.0 * half_step_deg * middle.cp),
          .optimum_tip_speed_ratio_per_deg = std::isfinite(shift) ? shift : 0.0};
}

}  // namespace windwright::analysis
