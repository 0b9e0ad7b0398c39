// SPDX-License-Identifier: Apache-2.0
#include "analysis/point_result.h"

#include "analysis/generator_losses.h"
#include "analysis/points.h"
#include "analysis/remarks.h"
#include "analysis/results.h"
#include "metrology/estimate.h"
#include "physics/air.h"
#include "physics/inflow_profile.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double zero_C_in_K = 273.15;
constexpr double standard_temperature_K = 288.15;
constexpr double standard_pressure_Pa = 101325.0;

const Estimate* find(const Point& point, const std::string& name) {
  const auto found = point.quantities.find(name);
  return found == point.quantities.end() ? nullptr : &found->second;
}

physics::Air air_from(std::span<const double> edge) {
  return {.temperature_K = edge[0] + zero_C_in_K,
          .pressure_Pa = 100.0 * edge[1],
          .relative_humidity = 0.01 * edge[2]};
}

struct AirState {
  Estimate density_kg_m3;
  double dynamic_viscosity_Pa_s;
};

AirState air_state(const Point& point) {
  const Estimate* temperature = find(point, "air_temperature_C");
  const Estimate* pressure = find(point, "air_pressure_hPa");
  const Estimate* humidity = find(point, "air_humidity_pct");
  AirState state;
  const std::array<double, 3> edge{
      temperature != nullptr ? temperature->value() : standard_temperature_K - zero_C_in_K,
      pressure != nullptr ? pressure->value() : 0.01 * standard_pressure_Pa,
      humidity != nullptr ? humidity->value() : 0.0};
  state.dynamic_viscosity_Pa_s = physics::dynamic_viscosity_Pa_s(air_from(edge));
  if (const Estimate* given = find(point, "air_density_kg_m3")) {
    state.density_kg_m3 = *given;
    return state;
  }
  const std::array<Estimate, 3> measured{*temperature, *pressure, *humidity};
  state.density_kg_m3 = metrology::propagate(
      [](std::span<const double> x) { return physics::density_kg_m3(air_from(x)); }, measured);
  // The equation's own part would pass for the whole where nothing else is stated.
  if (!state.density_kg_m3.contributions().empty()) {
    state.density_kg_m3.add(
        "air-density:equation",
        {.u = u_density_equation_relative * state.density_kg_m3.value(), .dof = infinity});
  }
  return state;
}

// Everything that the stages share.
struct Measured {
  const Point& point;
  const ReductionInput& input;
  Estimate speed_rad_s;
  Estimate wind_power_W;
};

struct Shaft {
  Estimate power_W;
  std::string basis;
  std::optional<Estimate> ac_power_W;  // measured, or DC power and the modelled rectifier loss
  std::string ac_basis;
};

constexpr const char* measured_basis = "measured";
constexpr const char* modelled_basis = "measured plus modelled losses";

std::optional<Shaft> shaft_of(const Measured& m) {
  const Estimate* dc_power = find(m.point, "dc_power_W");
  const Estimate* dc_current = find(m.point, "dc_current_A");
  const Estimate* ac_power = find(m.point, "ac_power_W");
  Shaft shaft;
  if (ac_power != nullptr) {
    shaft.ac_power_W = *ac_power;
    shaft.ac_basis = measured_basis;
  }
  const bool can_model = m.input.bench != nullptr && dc_power != nullptr && dc_current != nullptr;
  std::optional<Estimate> rectified;
  if (can_model) {
    rectified =
        *dc_power + modelled_loss(*m.input.bench, m.speed_rad_s, *dc_current, rectifier_loss);
    if (!shaft.ac_power_W) {
      shaft.ac_power_W = rectified;
      shaft.ac_basis = modelled_basis;
    }
  }
  if (const Estimate* power = find(m.point, "shaft_power_W")) {
    shaft.power_W = *power;
    shaft.basis = measured_basis;
  } else if (const Estimate* torque = find(m.point, "torque_N_m")) {
    shaft.power_W = *torque * m.speed_rad_s;
    shaft.basis = measured_basis;
  } else if (can_model) {
    shaft.power_W = *rectified;
    for (const LossPart& part : {winding_loss, iron_loss, bearing_loss}) {
      shaft.power_W =
          shaft.power_W + modelled_loss(*m.input.bench, m.speed_rad_s, *dc_current, part);
    }
    shaft.basis = modelled_basis;
  } else {
    return std::nullopt;
  }
  return shaft;
}

// A stage that passes on nothing has no efficiency after it.
void add_stage(std::vector<Stage>& stages, std::string name, const Estimate& power_W,
               std::string basis) {
  const bool first = stages.empty();
  const double before = first ? 0.0 : stages.back().power_W.value();
  Estimate efficiency = first           ? Estimate(1.0)
                        : before == 0.0 ? Estimate(std::numeric_limits<double>::quiet_NaN())
                                        : power_W / stages.back().power_W;
  stages.push_back({.name = std::move(name),
                    .power_W = power_W,
                    .efficiency = std::move(efficiency),
                    .basis = std::move(basis)});
}

void add_powers(const Measured& m, PointResult& result) {
  add_stage(result.stages, "wind", m.wind_power_W, measured_basis);
  if (const auto shaft = shaft_of(m)) {
    result.shaft_power_W = shaft->power_W;
    result.cp_shaft = shaft->power_W / m.wind_power_W;
    if (const Estimate* torque = find(m.point, "torque_N_m")) {
      result.shaft_torque_N_m = *torque;
    } else if (m.speed_rad_s.value() > 0.0) {
      result.shaft_torque_N_m = shaft->power_W / m.speed_rad_s;
    }
    add_stage(result.stages, "rotor", shaft->power_W, shaft->basis);
    if (shaft->ac_power_W) {
      add_stage(result.stages, "generator", *shaft->ac_power_W, shaft->ac_basis);
    }
  }
  if (const Estimate* power = find(m.point, "dc_power_W")) {
    result.dc_power_W = *power;
    result.cp_electrical = *power / m.wind_power_W;
    add_stage(result.stages, "DC bus", *power, measured_basis);
  }
}

// Of what the reduction uses: a density that was given makes the air state idle.
void remark(const Point& point, Remarks& remarks) {
  const bool density_given = point.quantities.contains("air_density_kg_m3");
  for (const auto& [name, estimate] : point.quantities) {
    const bool air_state =
        name == "air_temperature_C" || name == "air_pressure_hPa" || name == "air_humidity_pct";
    if (estimate.contributions().empty() && !(density_given && air_state)) {
      remarks.unstated.insert(name);
    }
  }
  for (const std::string& channel : point.beyond_certificate)
    remarks.beyond_certificate[channel].insert(point.number);
  if (!point.settled) remarks.unsettled.insert(point.number);
}

// Measured sample by sample; else from the mean and the turbulence about it; else of the mean
// alone.
Estimate mean_cube_m3_s3(const Point& point, Remarks& remarks) {
  if (const Estimate* cube = find(point, "air_speed_cubed_m3_s3")) return *cube;
  const Estimate& speed_m_s = point.quantities.at("air_speed_m_s");
  const Estimate* turbulence_pct = find(point, "turbulence_intensity_pct");
  if (turbulence_pct == nullptr) {
    remarks.sentences.insert(
        "Wind power from the cube of the mean air speed: turbulence, which adds to the mean of the "
        "cube, is left out.");
    return metrology::power(speed_m_s, 3.0);
  }
  const std::array<Estimate, 1> intensity_pct{*turbulence_pct};
  return metrology::propagate(
             [](std::span<const double> x) { return physics::turbulence_cube_factor(0.01 * x[0]); },
             intensity_pct) *
         metrology::power(speed_m_s, 3.0);
}

// 3 deg in a file is 3 deg again after its way through radian.
double rotor_pitch_deg(const physics::Rotor& rotor) {
  return std::round(rotor.pitch_rad * 180.0 / std::numbers::pi * 1e9) / 1e9;
}

}  // namespace

Estimate air_density_kg_m3(const Point& point) {
  return air_state(point).density_kg_m3;
}

PointResult point_result(const Point& point, const ReductionInput& input, Remarks& remarks) {
  remark(point, remarks);
  Estimate radius_m(input.rotor.tip_radius_m);
  if (input.u_tip_radius_m > 0.0) {
    radius_m.add("rotor:tip-radius", {.u = input.u_tip_radius_m, .dof = infinity});
  }
  const AirState air = air_state(point);
  const Estimate speed_m_s = point.quantities.at("air_speed_m_s");
  const Estimate cube_m3_s3 = mean_cube_m3_s3(point, remarks);
  const Estimate rotor_speed_rad_s = point.quantities.at("rotor_speed_rad_s");
  const Estimate flux = air.density_kg_m3 * metrology::power(radius_m, 2.0);
  const Estimate wind_power_W = (0.5 * std::numbers::pi) * (flux * cube_m3_s3);

  PointResult result{
      .number = point.number,
      .blade_count = point.blade_count == 0 ? input.rotor.blades : point.blade_count,
      .pitch_deg = std::isnan(point.pitch_deg) ? rotor_pitch_deg(input.rotor) : point.pitch_deg,
      .block_settings = point.block_settings,
      .settings = point.settings,
      .settled = point.settled,
      .air_density_kg_m3 = air.density_kg_m3,
      .air_speed_m_s = speed_m_s,
      .rotor_speed_rad_s = rotor_speed_rad_s,
      .wind_power_W = wind_power_W,
      .tip_speed_ratio = rotor_speed_rad_s * radius_m / speed_m_s,
      .dc_power_W = std::nullopt,
      .cp_electrical = std::nullopt,
      .shaft_power_W = std::nullopt,
      .shaft_torque_N_m = std::nullopt,
      .cp_shaft = std::nullopt,
      .ct = std::nullopt,
      .stages = {},
      .dynamic_viscosity_Pa_s = air.dynamic_viscosity_Pa_s,
      .theory = {.tip_speed_ratio = nan, .cp_shaft = nan, .cp_electrical = nan}};
  add_powers({.point = point,
              .input = input,
              .speed_rad_s = rotor_speed_rad_s,
              .wind_power_W = wind_power_W},
             result);
  if (const Estimate* thrust = find(point, "thrust_N")) {
    result.ct = *thrust / ((0.5 * std::numbers::pi) * (flux * metrology::power(speed_m_s, 2.0)));
  }
  return result;
}

}  // namespace windwright::analysis
