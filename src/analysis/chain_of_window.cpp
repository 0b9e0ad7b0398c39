// SPDX-License-Identifier: Apache-2.0
#include "analysis/chain_of_window.h"

#include "analysis/generator_losses.h"
#include "analysis/point_result.h"
#include "analysis/remarks.h"
#include "analysis/results.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

// Mean power into the turning mass, from the speeds at both ends; the means of the first and the
// last block lie one block less than the window apart.
StagePart kinetic_storage(const campaign::Run& run, const WindowPoint& window, double length_s) {
  const double inertia_kg_m2 =
      run.bench.hub_inertia_kg_m2 + window.point.blade_count * run.bench.blade_inertia_kg_m2;
  const Estimate change = metrology::power(window.last_speed_rad_s, 2.0) -
                          metrology::power(window.first_speed_rad_s, 2.0);
  const Estimate stored_W = (0.5 * inertia_kg_m2 / (length_s - run.bench.block_s)) * change;
  return stored_W.u() > 0.0 ? StagePart::of(stored_W) : StagePart{};
}

std::vector<Estimate> reading(const Point& point, const std::string& name) {
  const auto found = point.quantities.find(name);
  if (found == point.quantities.end()) return {};
  return {found->second};
}

// The position at which the window found a selector or switch of the bench; its first where the
// campaign left it alone.
std::string position_of(const campaign::Run& run, const Point& point, std::string_view actuator) {
  for (const bench::Actuator& each : run.bench.actuators) {
    if (each.name != actuator || each.positions.empty()) continue;
    for (const auto* settings : {&point.settings, &point.block_settings}) {
      const auto found = settings->find(each.name);
      if (found != settings->end())
        return each.positions.at(static_cast<std::size_t>(found->second));
    }
    return each.positions.front();
  }
  return {};
}

void add_bus(const campaign::Run& run, const Point& point, ChainWindow& chain) {
  const bench::BenchChain& parts = *run.bench.chain;
  const auto branch = [&](StageDescription stage, std::vector<Estimate> readings_W) {
    chain.flows.push_back(
        {.from = "DC bus", .to = stage.name, .readings_W = std::move(readings_W)});
    chain.stages.push_back(std::move(stage));
  };
  const physics::SourceControl source = parts.setup.chain.controller.source;
  const bool converts = source == physics::SourceControl::tracker;
  chain.stages.push_back(
      {.name = "charge controller", .lost = converts ? StagePart::unknown() : StagePart{}});
  // Of a pulsed one the point has the power of the bus already.
  chain.flows.push_back({.from = "rectifier",
                         .to = "charge controller",
                         .readings_W = physics::is_pulsed(source) ? std::vector<Estimate>{}
                                                                  : reading(point, "dc_power_W")});
  chain.stages.push_back({.name = "DC bus"});
  chain.flows.push_back({.from = "charge controller",
                         .to = "DC bus",
                         .readings_W = reading(point, "charge_power_W")});
  std::vector<Estimate> into_battery_W = reading(point, "battery_power_W");
  for (Estimate& power_W : into_battery_W)
    power_W = -1.0 * power_W;
  branch({.name = "battery"}, std::move(into_battery_W));
  if (parts.setup.chain.controller.dump != physics::DumpControl::none)
    branch({.name = "dump load"}, reading(point, "dump_power_W"));
  if (!parts.dc_load_names.empty() && position_of(run, point, "dc_load_selector") != "none")
    branch({.name = "DC loads"}, {});
  if (position_of(run, point, "mains_charger_switch") == "on") {
    chain.stages.push_back({.name = "mains charger"});
    chain.flows.push_back({.from = "mains charger", .to = "DC bus"});
  }
  if (!parts.setup.chain.inverter) return;
  branch({.name = "inverter", .lost = StagePart::unknown()}, reading(point, "inverter_input_W"));
  chain.stages.push_back({.name = "AC loads"});
  chain.flows.push_back(
      {.from = "inverter", .to = "AC loads", .readings_W = reading(point, "inverter_output_W")});
}

std::string label_of(const Window& window) {
  return fmt::format("{:g} s to {:g} s", window.from_s, window.to_s);
}

ChainWindow described(const campaign::Run& run, const WindowPoint& window, const Window& when) {
  const Point& point = window.point;
  const ReductionInput input{.points = {},
                             .rotor = run.bench.rotor,
                             .u_tip_radius_m = run.bench.u_tip_radius_m,
                             .bench = &run.bench};
  Remarks remarks;
  const PointResult result = point_result(point, input, remarks);
  const Estimate& speed_rad_s = point.quantities.at("rotor_speed_rad_s");
  const Estimate& current_A = point.quantities.at("dc_current_A");
  const auto loss_W = [&](const LossPart& part) {
    return modelled_loss(run.bench, speed_rad_s, current_A, part);
  };
  std::vector<Estimate> shaft_W = reading(point, "shaft_power_W");
  for (const Estimate& torque_N_m : reading(point, "torque_N_m"))
    shaft_W.push_back(torque_N_m * speed_rad_s);

  ChainWindow chain{.label = label_of(when), .stages = {}, .flows = {}};
  chain.stages = {
      {.name = "wind"},
      {.name = "rotor", .lost = StagePart::unknown()},
      {.name = "shaft",
       .lost = StagePart::of(loss_W(bearing_loss)),
       .stored = kinetic_storage(run, window, when.to_s - when.from_s)},
      {.name = "generator", .lost = StagePart::of(loss_W(winding_loss) + loss_W(iron_loss))},
      {.name = "rectifier", .lost = StagePart::of(loss_W(rectifier_loss))}};
  chain.flows = {
      {.from = "wind", .to = "rotor", .readings_W = {result.wind_power_W}},
      {.from = "rotor", .to = "shaft", .readings_W = shaft_W},
      {.from = "shaft", .to = "generator"},
      {.from = "generator", .to = "rectifier", .readings_W = reading(point, "ac_power_W")}};
  if (run.bench.chain) {
    add_bus(run, point, chain);
  } else {
    chain.stages.push_back({.name = "DC load"});
    chain.flows.push_back(
        {.from = "rectifier", .to = "DC load", .readings_W = reading(point, "dc_power_W")});
  }
  return chain;
}

}  // namespace

ChainStudy study_windows(const campaign::Run& run, const std::vector<Window>& windows) {
  const std::vector<WindowPoint> points = points_of_windows(run, windows);
  std::vector<ChainWindow> chains;
  for (std::size_t i = 0; i < points.size(); ++i)
    chains.push_back(described(run, points[i], windows[i]));
  ChainOptions options;
  for (const bench::Channel& channel : run.bench.channels)
    options.channels.insert(channel.name);
  return study_energy_chain(chains, options);
}

}  // namespace windwright::analysis
