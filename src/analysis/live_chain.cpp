// SPDX-License-Identifier: Apache-2.0
#include "analysis/live_chain.h"

#include "analysis/generator_losses.h"
#include "analysis/point_result.h"
#include "analysis/points.h"
#include "analysis/remarks.h"
#include "analysis/results.h"
#include "metrology/estimate.h"
#include "physics/operating_point.h"
#include "physics/rotor.h"

#include <cmath>
#include <map>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {
namespace {

using metrology::Estimate;

constexpr double slowest_air_m_s = 0.5;      // below it ratios over the wind mean nothing
constexpr double slowest_rotor_rad_s = 2.0;  // below it theory has no point to hold

std::optional<double> find(const StretchMeans& stretch, std::string_view name) {
  const auto found = stretch.means.find(name);
  if (found == stretch.means.end() || !std::isfinite(found->second)) return std::nullopt;
  return found->second;
}

// The stretch as a test point: air speed at the disc, no uncertainty stated.
std::optional<Point> point_of(const bench::Bench& bench, const StretchMeans& stretch) {
  Point point;
  for (const auto& [name, mean] : stretch.means) {
    // Of half a second, whose ends cut the generator's cycles, and of one phase: what the rectifier
    // gives and loses says it better.
    if (name.starts_with("ac_power")) continue;
    if (std::isfinite(mean)) point.quantities[name] = Estimate(mean);
  }
  for (const char* needed : {"air_temperature_C", "air_pressure_hPa", "air_humidity_pct",
                             "air_speed_m_s", "rotor_speed_rad_s"}) {
    if (!point.quantities.contains(needed)) return std::nullopt;
  }
  const double factor = bench.position_factor;
  const bench::DiscCube& cube = bench.disc_cube;
  point.quantities["air_speed_m_s"] = Estimate(factor * *find(stretch, "air_speed_m_s"));
  point.quantities["air_speed_cubed_m3_s3"] =
      Estimate(std::pow(factor, 3.0) * cube.profile * cube.unresolved_turbulence *
               stretch.air_speed_cubed_m3_s3);
  const auto blades = stretch.settings.find("blade_count");
  if (blades != stretch.settings.end()) point.blade_count = static_cast<int>(blades->second);
  const auto pitch = stretch.settings.find("pitch_deg");
  if (pitch != stretch.settings.end()) point.pitch_deg = pitch->second;
  return point;
}

void predict(const bench::Bench& bench, const PointResult& result, LiveChain& chain) {
  const double air_speed_m_s = result.air_speed_m_s.value();
  const double rotor_speed_rad_s = result.rotor_speed_rad_s.value();
  if (air_speed_m_s < slowest_air_m_s || rotor_speed_rad_s < slowest_rotor_rad_s) return;
  physics::Rotor rotor = bench.rotor;
  rotor.blades = result.blade_count;
  rotor.pitch_rad = result.pitch_deg * std::numbers::pi / 180.0;
  const physics::RotorFlow flow{.air_speed_m_s = air_speed_m_s,
                                .rotor_speed_rad_s = rotor_speed_rad_s,
                                .density_kg_m3 = result.air_density_kg_m3.value(),
                                .dynamic_viscosity_Pa_s = result.dynamic_viscosity_Pa_s};
  const double wind_W = result.wind_power_W.value();
  const physics::RotorLoad rotor_load = physics::rotor_load(rotor, flow);
  chain.numbers["predicted_cp_shaft"] = rotor_load.cp;
  const auto point = physics::operating_point(rotor, bench.generator, flow);
  for (LiveFlow& each : chain.flows) {
    if (each.from == "rotor") each.predicted_W = rotor_load.cp * wind_W;
    if (!point) continue;
    if (each.from == "generator") each.predicted_W = point->generator.ac_power_W;
    if (each.from == "rectifier") each.predicted_W = point->generator.dc_power_W;
  }
  if (point && wind_W > 0.0) {
    chain.numbers["predicted_cp_electrical"] = point->generator.dc_power_W / wind_W;
  }
}

LiveFlow flow_of(std::string from, std::string to, std::optional<double> watts,
                 const char* basis = "measured") {
  return {.from = std::move(from),
          .to = std::move(to),
          .measured_W = watts,
          .predicted_W = {},
          .basis = watts ? basis : "unknown"};
}

void add_load_side(const bench::Bench& bench, const StretchMeans& stretch, LiveChain& chain) {
  const auto dc_W = find(stretch, "dc_power_W");
  if (!bench.chain) {
    chain.flows.push_back(flow_of("rectifier", "dc_load", dc_W));
    return;
  }
  chain.flows.push_back(flow_of("rectifier", "charge_controller", dc_W));
  chain.flows.push_back(flow_of("charge_controller", "dc_bus", find(stretch, "charge_power_W")));
  // The sensor counts what the battery gives as positive; the river flows into it.
  auto battery_W = find(stretch, "battery_power_W");
  if (battery_W) *battery_W = -*battery_W;
  chain.flows.push_back(flow_of("dc_bus", "battery", battery_W));
  for (const LiveStage& stage : chain.stages) {
    if (stage.name == "dump_load")
      chain.flows.push_back(flow_of("dc_bus", "dump_load", find(stretch, "dump_power_W")));
    if (stage.name == "dc_loads") chain.flows.push_back(flow_of("dc_bus", "dc_loads", {}));
    if (stage.name == "inverter")
      chain.flows.push_back(flow_of("dc_bus", "inverter", find(stretch, "inverter_input_W")));
    if (stage.name == "ac_loads")
      chain.flows.push_back(flow_of("inverter", "ac_loads", find(stretch, "inverter_output_W")));
  }
}

void find_losses(LiveChain& chain) {
  for (LiveStage& stage : chain.stages) {
    double in_W = 0.0;
    double out_W = 0.0;
    bool in = false;
    bool out = false;
    bool known = true;
    for (const LiveFlow& flow : chain.flows) {
      if (flow.to != stage.name && flow.from != stage.name) continue;
      if (!flow.measured_W) {
        known = false;
      } else if (flow.to == stage.name) {
        in_W += *flow.measured_W;
      } else {
        out_W += *flow.measured_W;
      }
      in = in || flow.to == stage.name;
      out = out || flow.from == stage.name;
    }
    if (known && in && out) stage.lost_W = in_W - out_W;
  }
}

}  // namespace

std::vector<LiveStage> stages_of(const bench::Bench& bench) {
  std::vector<LiveStage> stages{{.name = "wind", .long_name = "wind through the rotor's disc"},
                                {.name = "rotor", .long_name = "rotor"},
                                {.name = "shaft", .long_name = "shaft and bearings"},
                                {.name = "generator", .long_name = "generator"},
                                {.name = "rectifier", .long_name = "rectifier"}};
  const auto add = [&](const char* name, const char* long_name) {
    stages.push_back({.name = name, .long_name = long_name});
  };
  if (!bench.chain) {
    add("dc_load", "load at the DC terminals");
    return stages;
  }
  const physics::ElectricalChain& parts = bench.chain->setup.chain;
  add("charge_controller", "charge controller");
  add("dc_bus", "DC bus");
  add("battery", "battery");
  if (parts.controller.dump != physics::DumpControl::none) add("dump_load", "dump load");
  if (!bench.chain->dc_load_names.empty()) add("dc_loads", "DC loads");
  if (parts.inverter) {
    add("inverter", "inverter");
    add("ac_loads", "AC loads");
  }
  return stages;
}

std::optional<LiveChain> live_chain(const bench::Bench& bench, const StretchMeans& stretch) {
  const std::optional<Point> point = point_of(bench, stretch);
  if (!point) return std::nullopt;
  const ReductionInput input{.points = {},
                             .rotor = bench.rotor,
                             .u_tip_radius_m = bench.u_tip_radius_m,
                             .bench = &bench,
                             .with_theory = false};
  Remarks remarks;
  const PointResult result = point_result(*point, input, remarks);
  LiveChain chain{.stages = stages_of(bench), .flows = {}, .numbers = {}};
  const auto value = [](const std::optional<Estimate>& estimate) {
    return estimate ? std::optional(estimate->value()) : std::nullopt;
  };
  const std::optional<double> shaft_W = value(result.shaft_power_W);
  std::optional<double> generator_W;
  std::optional<double> ac_W;
  const bool turns = result.rotor_speed_rad_s.value() > slowest_rotor_rad_s;
  if (const auto current_A = find(stretch, "dc_current_A"); shaft_W && current_A && turns) {
    generator_W =
        *shaft_W -
        modelled_loss(bench, result.rotor_speed_rad_s, Estimate(*current_A), bearing_loss).value();
  }
  for (const Stage& stage : result.stages) {
    if (stage.name == "generator") ac_W = stage.power_W.value();
  }
  chain.flows = {flow_of("wind", "rotor", result.wind_power_W.value()),
                 flow_of("rotor", "shaft", shaft_W, "model"),
                 flow_of("shaft", "generator", generator_W, "model"),
                 flow_of("generator", "rectifier", ac_W, "model")};
  add_load_side(bench, stretch, chain);
  find_losses(chain);
  chain.numbers["air_density_kg_m3"] = result.air_density_kg_m3.value();
  if (result.air_speed_m_s.value() > slowest_air_m_s) {
    chain.numbers["tip_speed_ratio"] = result.tip_speed_ratio.value();
    if (result.cp_shaft) chain.numbers["cp_shaft"] = result.cp_shaft->value();
    if (result.cp_electrical) chain.numbers["cp_electrical"] = result.cp_electrical->value();
  }
  predict(bench, result, chain);
  return chain;
}

}  // namespace windwright::analysis
