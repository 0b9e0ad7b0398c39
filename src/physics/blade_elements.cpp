// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_elements.h"

#include "base/errors.h"
#include "physics/element_solver.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string_view>

namespace windwright::physics {

namespace {

constexpr double pi = std::numbers::pi;
// Of the tip radius; Snel and others apply their correction up to here.
constexpr double augmented_share = 0.8;

}  // namespace

// Messages are put together only when needed: a good call allocates nothing.
void check(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  const auto refuse = [](std::string_view wrong, std::string_view right) {
    throw base::BadInput("rotor", wrong, right);
  };
  if (rotor.blades < 1 || rotor.blades > 12) {
    refuse(fmt::format("has {} blades", rotor.blades), "1 to 12");
  }
  if (!(rotor.hub_radius_m > 0.0 && rotor.hub_radius_m < rotor.tip_radius_m &&
        std::isfinite(rotor.tip_radius_m))) {
    refuse(
        fmt::format("hub radius is {} m, tip radius {} m", rotor.hub_radius_m, rotor.tip_radius_m),
        "hub above 0 and below tip");
  }
  if (!std::isfinite(rotor.pitch_rad)) refuse("pitch is not finite", "an angle");
  if (rotor.stations.size() < 2) refuse("has fewer than two stations", "at least two");
  if (!(flow.air_speed_m_s >= 0.0 && std::isfinite(flow.air_speed_m_s))) {
    refuse(fmt::format("air speed is {} m/s", flow.air_speed_m_s), "0 or more");
  }
  if (!std::isfinite(flow.rotor_speed_rad_s)) refuse("rotor speed is not finite", "a number");
  if (!(flow.density_kg_m3 > 0.0 && std::isfinite(flow.density_kg_m3))) {
    refuse(fmt::format("air density is {} kg/m3", flow.density_kg_m3), "above 0");
  }
  if (!(flow.dynamic_viscosity_Pa_s > 0.0 && std::isfinite(flow.dynamic_viscosity_Pa_s))) {
    refuse(fmt::format("viscosity is {} Pa s", flow.dynamic_viscosity_Pa_s), "above 0");
  }
  if (!(std::abs(flow.yaw_rad) <= pi / 3.0 * (1.0 + 1e-12))) {
    refuse(fmt::format("yaw is {} degrees", flow.yaw_rad * 180.0 / pi), "-60 to 60");
  }
  if (options.elements < 2 || options.elements > 10000) {
    refuse(fmt::format("{} elements", options.elements), "2 to 10000");
  }
}

BladeElement blade_element(const Rotor& rotor, const RotorOptions& options, double radius_m,
                           std::size_t& station) {
  const auto& stations = rotor.stations;
  while (station + 2 < stations.size() && stations[station + 1].radius_m < radius_m)
    ++station;
  const RotorStation& inner = stations[station];
  const RotorStation& outer = stations[station + 1];
  const double weight =
      std::clamp((radius_m - inner.radius_m) / (outer.radius_m - inner.radius_m), 0.0, 1.0);
  const double chord_m = std::lerp(inner.chord_m, outer.chord_m, weight);
  const bool tip = options.losses == Losses::tip || options.losses == Losses::both;
  const bool root = options.losses == Losses::root || options.losses == Losses::both;
  const double half_blades = 0.5 * rotor.blades;
  const double hub_m = rotor.hub_radius_m;
  const bool augmented =
      options.rotational_augmentation && radius_m <= augmented_share * rotor.tip_radius_m;
  const double slenderness = chord_m / radius_m;
  return {.radius_m = radius_m,
          .span_share = 0.0,
          .chord_m = chord_m,
          .twist_rad = std::lerp(inner.twist_rad, outer.twist_rad, weight),
          .solidity = rotor.blades * chord_m / (2.0 * pi * radius_m),
          .tip_ratio = tip ? half_blades * (rotor.tip_radius_m - radius_m) / radius_m
                           : ElementBatch::no_loss,
          .root_ratio = root ? half_blades * (radius_m - hub_m) / hub_m : ElementBatch::no_loss,
          .augmentation = augmented ? 3.1 * slenderness * slenderness : 0.0,
          .inner = inner.polar.get(),
          .outer = outer.polar.get(),
          .outer_weight = weight};
}

BladeElement blade_element(const Rotor& rotor, const RotorOptions& options, int i,
                           std::size_t& station) {
  const double edge = 0.5 * (1.0 - std::cos(pi * i / options.elements));
  const double next_edge = 0.5 * (1.0 - std::cos(pi * (i + 1) / options.elements));
  const double span_m = rotor.tip_radius_m - rotor.hub_radius_m;
  BladeElement element = blade_element(
      rotor, options, rotor.hub_radius_m + span_m * 0.5 * (edge + next_edge), station);
  element.span_share = next_edge - edge;
  return element;
}

ElementSetting element_setting(const BladeElement& element, const RotorOptions& options) {
  return {.inner = element.inner->arrays(),
          .outer = element.outer->arrays(),
          .two_polars = element.inner != element.outer,
          .swirl = options.wake_rotation,
          .drag_in_swirl = options.drag_in_swirl,
          .glauert = options.high_thrust == HighThrust::glauert};
}

void put(const BladeElement& element, double pitch_rad, const RotorFlow& flow, ElementBatch& batch,
         std::size_t i) {
  batch.blade_angle_rad[i] = element.twist_rad + pitch_rad;
  batch.solidity[i] = element.solidity;
  batch.tip_ratio[i] = element.tip_ratio;
  batch.root_ratio[i] = element.root_ratio;
  batch.augmentation[i] = element.augmentation;
  batch.reynolds_s_m[i] = flow.density_kg_m3 * element.chord_m / flow.dynamic_viscosity_Pa_s;
  batch.outer_weight[i] = element.outer_weight;
}

void put_speeds(double axial_m_s, double turning_m_s, ElementBatch& batch, std::size_t i) {
  batch.axial_m_s[i] = axial_m_s;
  batch.turning_m_s[i] = std::abs(turning_m_s);
  batch.backwards[i] = turning_m_s < 0.0 ? 1.0 : 0.0;
}

ElementForce element_force(const BladeElement& element, const RotorFlow& flow,
                           const ElementBatch& batch, std::size_t i) {
  const double W = batch.relative_speed_m_s[i];
  const double s = batch.sine[i];
  const double c = batch.cosine[i];
  const double pressure_N_m1 = 0.5 * flow.density_kg_m3 * W * W * element.chord_m;
  return {.normal_load_N_m1 = pressure_N_m1 * (batch.cl[i] * c + batch.cd[i] * s),
          .tangential_load_N_m1 = pressure_N_m1 * (batch.cl[i] * s - batch.cd[i] * c)};
}

void add(const BladeElement& element, const ElementForce& force, RotorLoad& total) {
  total.torque_N_m += force.tangential_load_N_m1 * element.radius_m * element.span_share;
  total.thrust_N += force.normal_load_N_m1 * element.span_share;
}

void add_state(const BladeElement& element, double reynolds, bool converged, double residual,
               RotorLoad& total) {
  const Polar& inner = *element.inner;
  const Polar& outer = *element.outer;
  if (reynolds < std::max(inner.lowest_reynolds(), outer.lowest_reynolds())) {
    total.span_below_reynolds += element.span_share;
  }
  if (reynolds > std::min(inner.highest_reynolds(), outer.highest_reynolds())) {
    total.span_above_reynolds += element.span_share;
  }
  if (converged) total.largest_residual = std::max(total.largest_residual, residual);
  if (!converged && total.unconverged_elements++ == 0) {
    total.unconverged_radius_m = element.radius_m;
  }
}

void finish(const Rotor& rotor, const RotorFlow& flow, RotorLoad& total) {
  const double length_m = rotor.blades * (rotor.tip_radius_m - rotor.hub_radius_m);
  total.torque_N_m *= length_m;
  total.thrust_N *= length_m;
  total.power_W = total.torque_N_m * flow.rotor_speed_rad_s;
  const double V = flow.air_speed_m_s;
  const double push_N = 0.5 * flow.density_kg_m3 * swept_area_m2(rotor) * V * V;
  if (push_N > 0.0) {
    total.tip_speed_ratio = flow.rotor_speed_rad_s * rotor.tip_radius_m / V;
    total.cp = total.power_W / (push_N * V);
    total.cq = total.torque_N_m / (push_N * rotor.tip_radius_m);
    total.ct = total.thrust_N / push_N;
  }
}

}  // namespace windwright::physics
