// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_design.h"

#include "base/errors.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string_view>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

constexpr double angle_step_rad = 0.1 * degree;
constexpr int half_window = 10;  // steps: one degree to either side
constexpr double highest_angle_rad = 25.0 * degree;
constexpr int most_rounds = 100;
constexpr double settled = 1e-6;
constexpr double golden = 0.6180339887498949;
constexpr int golden_steps = 50;

struct Balance {
  double solidity_lift;  // s = B c cl / (2 pi r)
  double axial_induction;
  double tangential_induction;
  double power;  // s (sin phi - e cos phi) (W/V)^2
};

double loss_factor(const LocalTask& task, Losses losses, double sine) {
  double factor = 1.0;
  if (losses == Losses::tip || losses == Losses::both)
    factor *= prandtl_loss_factor(task.blades, task.tip_distance, sine);
  if (losses == Losses::root || losses == Losses::both)
    factor *= prandtl_loss_factor(task.blades, task.root_distance, sine);
  return factor;
}

// Symbols as in the header.
Balance balance(const LocalTask& task, const DesignOptions& options, double phi) {
  const double x = task.local_speed_ratio;
  const double e = options.drag ? task.drag_to_lift : 0.0;
  const double sine = std::sin(phi);
  const double cosine = std::cos(phi);
  const double F = loss_factor(task, options.losses, sine);
  double s = 0.0;
  double a = 0.0;
  double swirl = 0.0;
  if (options.wake_rotation) {
    s = 4.0 * F * sine * (cosine - x * sine) / (sine + x * cosine + e * x * sine);
    a = 1.0 - 1.0 / (1.0 + s * (cosine + e * sine) / (4.0 * F * sine * sine));
    swirl = 1.0 / (1.0 - s / (4.0 * F * cosine)) - 1.0;
  } else {
    a = 1.0 - x * sine / cosine;
    s = 4.0 * F * a / (1.0 - a) * sine * sine / (cosine + e * sine);
  }
  const double through = (1.0 - a) / sine;
  return {s, a, swirl, s * (sine - e * cosine) * through * through};
}

void check(const DesignTask& task, const DesignOptions& options) {
  const auto require = [](bool good, std::string_view what, double value, std::string_view right) {
    if (!good) throw base::BadInput("blade design", fmt::format("{} is {}", what, value), right);
  };
  require(task.blades >= 1 && task.blades <= 12, "the number of blades", task.blades, "1 to 12");
  require(task.hub_radius_m > 0.0, "the hub radius in m", task.hub_radius_m, "above 0");
  require(task.tip_radius_m > task.hub_radius_m, "the tip radius in m", task.tip_radius_m,
          "above the hub radius");
  require(task.tip_speed_ratio >= 0.1 && task.tip_speed_ratio <= 25.0, "the tip-speed ratio",
          task.tip_speed_ratio, "0.1 to 25");
  require(task.air_speed_m_s > 0.0, "the air speed in m/s", task.air_speed_m_s, "above 0");
  require(task.density_kg_m3 > 0.0, "the density in kg/m3", task.density_kg_m3, "above 0");
  require(task.dynamic_viscosity_Pa_s > 0.0, "the viscosity in Pa s", task.dynamic_viscosity_Pa_s,
          "above 0");
  require(options.stations >= 2 && options.stations <= 1000, "the number of stations",
          options.stations, "2 to 1000");
  require(options.end_distance > 0.0 && options.end_distance < 0.5, "the end distance",
          options.end_distance, "above 0 and below 0.5");
  if (!task.polar) throw base::BadInput("blade design", "no polar is given", "a polar");
}

struct SectionPointOfWork {
  double angle_rad;
  SectionForce force;
};

SectionPointOfWork section_at(const DesignTask& task, const DesignOptions& options,
                              double reynolds) {
  const double angle_rad = options.angle_of_attack_rad
                               ? *options.angle_of_attack_rad
                               : best_angle_of_attack_rad(*task.polar, reynolds);
  const SectionForce force = task.polar->at(angle_rad, reynolds);
  if (!(force.cl > 0.0)) {
    throw base::BadInput(
        "blade design",
        fmt::format("the section's lift is {:.4g} at an angle of attack of {:.4g} degrees",
                    force.cl, angle_rad / degree),
        "an angle of attack with lift above 0");
  }
  return {angle_rad, force};
}

DesignStation design_station(const DesignTask& task, const DesignOptions& options, double radius_m,
                             bool& came_to_rest) {
  const double length_m = task.tip_radius_m - task.hub_radius_m;
  const double end_m = options.end_distance * length_m;
  LocalTask local{
      .blades = task.blades,
      .local_speed_ratio = task.tip_speed_ratio * radius_m / task.tip_radius_m,
      .drag_to_lift = 0.0,
      .tip_distance = std::max(task.tip_radius_m - radius_m, end_m) / radius_m,
      .root_distance = std::max(radius_m - task.hub_radius_m, end_m) / task.hub_radius_m};
  DesignStation station{};
  station.radius_m = radius_m;
  station.local_speed_ratio = local.local_speed_ratio;
  double log_reynolds = std::log(1e5);
  came_to_rest = false;
  for (int round = 0; round < most_rounds && !came_to_rest; ++round) {
    station.reynolds = std::exp(log_reynolds);
    const SectionPointOfWork section = section_at(task, options, station.reynolds);
    local.drag_to_lift = section.force.cd / section.force.cl;
    const LocalOptimum best = local_optimum(local, options);
    station.angle_of_attack_rad = section.angle_rad;
    station.cl = section.force.cl;
    station.cd = section.force.cd;
    station.inflow_angle_rad = best.inflow_angle_rad;
    station.loss_factor = best.loss_factor;
    station.axial_induction = best.axial_induction;
    station.tangential_induction = best.tangential_induction;
    station.blade_loading = best.loading;
    station.chord_m =
        best.loading * task.tip_radius_m / (task.blades * station.cl * task.tip_speed_ratio);
    const double speed_m_s =
        task.air_speed_m_s * (1.0 - best.axial_induction) / std::sin(best.inflow_angle_rad);
    const double next =
        std::log(task.density_kg_m3 * speed_m_s * station.chord_m / task.dynamic_viscosity_Pa_s);
    came_to_rest = std::abs(next - log_reynolds) < settled;
    // Half the way once the first guess is left: the angle of attack may otherwise swing.
    log_reynolds = round == 0 ? next : 0.5 * (log_reynolds + next);
  }
  station.twist_rad = station.inflow_angle_rad - station.angle_of_attack_rad;
  station.below_reynolds = station.reynolds < task.polar->lowest_reynolds();
  station.above_reynolds = station.reynolds > task.polar->highest_reynolds();
  return station;
}

}  // namespace

LocalOptimum local_optimum(const LocalTask& task, const DesignOptions& options) {
  // Beyond atan(1/x) the wind would be driven, not braked.
  const double top = std::atan(1.0 / task.local_speed_ratio);
  double lower = 1e-3 * top;
  double upper = top;
  const auto power = [&](double phi) { return balance(task, options, phi).power; };
  double left = upper - golden * (upper - lower);
  double right = lower + golden * (upper - lower);
  double at_left = power(left);
  double at_right = power(right);
  for (int i = 0; i < golden_steps; ++i) {
    if (at_left < at_right) {
      lower = left;
      left = right;
      at_left = at_right;
      right = lower + golden * (upper - lower);
      at_right = power(right);
    } else {
      upper = right;
      right = left;
      at_right = at_left;
      left = upper - golden * (upper - lower);
      at_left = power(left);
    }
  }
  const double phi = 0.5 * (lower + upper);
  const Balance best = balance(task, options, phi);
  return {.inflow_angle_rad = phi,
          .loading = 2.0 * pi * task.local_speed_ratio * best.solidity_lift,
          .axial_induction = best.axial_induction,
          .tangential_induction = best.tangential_induction,
          .loss_factor = loss_factor(task, options.losses, std::sin(phi))};
}

double best_angle_of_attack_rad(const Polar& polar, double reynolds) {
  double lowest_rad = -pi;
  double highest_rad = highest_angle_rad;
  for (const PolarTable& table : polar.tables()) {
    lowest_rad = std::max(lowest_rad, table.lowest_alpha_rad);
    highest_rad = std::min(highest_rad, table.highest_alpha_rad);
  }
  lowest_rad = std::max(lowest_rad, -highest_angle_rad);
  const Polar::Position position = polar.position(reynolds);
  std::vector<double> sums{0.0};
  const auto count = static_cast<int>((highest_rad - lowest_rad) / angle_step_rad + 1e-9) + 1;
  for (int i = 0; i < count; ++i) {
    const SectionForce force = polar.at(lowest_rad + i * angle_step_rad, position);
    if (force.cl > 0.0 && !(force.cd > 0.0)) {
      throw base::BadInput("blade design", "the polar has no drag, so no best angle of attack",
                           "a polar with drag, or an angle of attack");
    }
    sums.push_back(sums.back() + (force.cl > 0.0 ? force.cl / force.cd : 0.0));
  }
  // The mean over the window rather than the ratio itself: the peak of a table of straight pieces
  // jumps from row to row with the Reynolds number, and turbulence moves the angle anyway.
  const auto mean = [&](int i) {
    const auto last = static_cast<std::size_t>(i) + half_window + 1;
    const auto first = static_cast<std::size_t>(i) - half_window;
    return (sums[last] - sums[first]) / (2 * half_window + 1);
  };
  int best = -1;
  for (int i = half_window; i + half_window < count; ++i) {
    if (best < 0 || mean(i) > mean(best)) best = i;
  }
  if (best < 0 || mean(best) <= 0.0) {
    throw base::BadInput("blade design", "the polar shows no lift between its angles",
                         "a polar that spans its best lift-to-drag ratio");
  }
  double shift = 0.0;
  if (best > half_window && best + 1 + half_window < count) {
    const double bend = mean(best - 1) - 2.0 * mean(best) + mean(best + 1);
    if (bend < 0.0) shift = 0.5 * (mean(best - 1) - mean(best + 1)) / bend;
  }
  return lowest_rad + (best + shift) * angle_step_rad;
}

BladeDesign design_blade(const DesignTask& task, const DesignOptions& options) {
  check(task, options);
  BladeDesign design{.rotor = {.blades = task.blades,
                               .hub_radius_m = task.hub_radius_m,
                               .tip_radius_m = task.tip_radius_m,
                               .pitch_rad = 0.0,
                               .stations = {}},
                     .stations = {}};
  for (int i = 0; i < options.stations; ++i) {
    const double part = static_cast<double>(i) / (options.stations - 1);
    const double radius_m =
        i + 1 == options.stations
            ? task.tip_radius_m
            : task.hub_radius_m + part * (task.tip_radius_m - task.hub_radius_m);
    bool came_to_rest = false;
    const DesignStation station = design_station(task, options, radius_m, came_to_rest);
    if (!came_to_rest) ++design.unsettled_stations;
    design.stations.push_back(station);
    design.rotor.stations.push_back(
        {station.radius_m, station.chord_m, station.twist_rad, task.polar});
  }
  return design;
}

}  // namespace windwright::physics
