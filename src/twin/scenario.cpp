// SPDX-License-Identifier: Apache-2.0
#include "twin/scenario.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace windwright::twin {

namespace {

double commanded_value(const base::Settings& step, const bench::Actuator& actuator) {
  if (actuator.positions.empty()) {
    const double value =
        step.number(actuator.name, {.at_least = actuator.lowest, .at_most = actuator.highest});
    if (actuator.name == "blade_count" && value != std::floor(value)) {
      throw base::BadInput(step.place(actuator.name), fmt::format("blade_count is {}", value),
                           "a whole number of blades");
    }
    return value;
  }
  const std::string position = step.text(actuator.name);
  const auto found = std::find(actuator.positions.begin(), actuator.positions.end(), position);
  if (found == actuator.positions.end()) {
    throw base::BadInput(step.place(actuator.name),
                         fmt::format("{} has no position '{}'", actuator.name, position),
                         base::either_of(actuator.positions));
  }
  return static_cast<double>(found - actuator.positions.begin());
}

ScenarioStep read_step(const base::Settings& table, const bench::Bench& bench) {
  ScenarioStep step{.at_s = table.number("at_s", {.at_least = 0.0, .at_most = 1e6}),
                    .commands = {}};
  for (const bench::Actuator& actuator : bench.actuators)
    static_cast<void>(table.has(actuator.name));  // known here, for the complaint about others
  for (const std::string& key : table.keys()) {
    const auto actuator =
        std::find_if(bench.actuators.begin(), bench.actuators.end(),
                     [&](const bench::Actuator& candidate) { return candidate.name == key; });
    if (actuator != bench.actuators.end()) {
      step.commands.push_back({.actuator = key, .value = commanded_value(table, *actuator)});
    }
  }
  return step;
}

ScenarioGust read_gust(const base::Settings& table) {
  constexpr std::array shapes{physics::GustShape::one_minus_cosine,
                              physics::GustShape::extreme_operating};
  const std::vector<std::string> names{"one_minus_cosine", "extreme_operating"};
  const std::string shape = table.has("shape") ? table.text("shape") : names[0];
  const auto found = std::find(names.begin(), names.end(), shape);
  if (found == names.end()) {
    throw base::BadInput(table.place("shape"), fmt::format("there is no gust '{}'", shape),
                         base::either_of(names));
  }
  return {.at_s = table.number("at_s", {.at_least = 0.0, .at_most = 1e6}),
          .gust = {.shape = shapes.at(static_cast<std::size_t>(found - names.begin())),
                   .duration_s = table.number("duration_s", {.at_least = 0.01, .at_most = 1e6}),
                   .amplitude_m_s =
                       table.number("amplitude_m_s", {.at_least = -50.0, .at_most = 50.0})}};
}

std::int64_t whole_samples(double seconds, double rate_hz) {
  return std::llround(seconds * rate_hz);
}

double shown_value(const bench::Channel& channel,
                   const std::optional<metrology::Certificate>& certificate, double counts) {
  const double reading_V = bench::volts(channel.converter, counts);
  if (certificate) return metrology::value_of(*certificate, reading_V);
  return (reading_V - channel.simulated->offset_V) / channel.simulated->sensitivity_V;
}

void add_energies(std::map<std::string, double>& truth, const EnergyTally& tally) {
  truth["wind_J"] = tally.wind_J;
  truth["rotor_J"] = tally.rotor_J;
  truth["bearing_J"] = tally.bearing_J;
  truth["iron_J"] = tally.iron_J;
  truth["winding_J"] = tally.winding_J;
  truth["rectifier_J"] = tally.rectifier_J;
  truth["load_J"] = tally.load_J;
  truth["brake_J"] = tally.brake_J;
  truth["kinetic_J"] = tally.kinetic_J;
}

}  // namespace

Scenario scenario_from_file(const std::filesystem::path& file, const bench::Bench& bench) {
  const base::Settings root = base::Settings::from_file(file);
  Scenario scenario;
  for (const base::Settings& table : root.tables("step")) {
    ScenarioStep step = read_step(table, bench);
    if (!scenario.steps.empty() && step.at_s < scenario.steps.back().at_s) {
      throw base::BadInput(table.place("at_s"),
                           fmt::format("at_s is {}, before the step above it", step.at_s),
                           fmt::format("steps in time, at least {}", scenario.steps.back().at_s));
    }
    scenario.steps.push_back(std::move(step));
  }
  for (const base::Settings& table : root.tables("gust")) {
    const ScenarioGust gust = read_gust(table);
    const double free_s = scenario.gusts.empty()
                              ? 0.0
                              : scenario.gusts.back().at_s + scenario.gusts.back().gust.duration_s;
    if (gust.at_s < free_s) {
      throw base::BadInput(
          table.place("at_s"),
          fmt::format("at_s is {}, while the gust above it still blows", gust.at_s),
          fmt::format("gusts in time and apart, at least {}", free_s));
    }
    scenario.gusts.push_back(gust);
  }
  if (scenario.steps.empty()) {
    throw base::BadInput(root.place(), "the scenario has no step",
                         "[[step]] with at_s and actuators");
  }
  root.refuse_unread_keys();
  return scenario;
}

void play(SimulatedBench& device, const bench::Bench& bench, const Scenario& scenario,
          const std::vector<std::optional<metrology::Certificate>>& certificates,
          const ScenarioPace& pace, const std::function<void(const ScenarioRow&)>& take) {
  const double rate_hz = device.sample_rate_hz();
  const std::int64_t every = whole_samples(pace.every_s, rate_hz);
  if (every < 1 || std::abs(static_cast<double>(every) - pace.every_s * rate_hz) > 1e-6) {
    throw base::BadInput("--every", fmt::format("{} s is no whole number of samples", pace.every_s),
                         fmt::format("a multiple of {} s", base::number_text(1.0 / rate_hz)));
  }
  const std::int64_t last = whole_samples(pace.seconds, rate_hz);
  const base::UtcTime start = device.now();
  const auto sample_now = [&] {
    return whole_samples(std::chrono::duration<double>(device.now() - start).count(), rate_hz);
  };
  std::size_t next_step = 0;
  std::size_t next_gust = 0;
  std::int64_t next_row = 0;
  bench::SampleBlock block;
  for (std::int64_t now = 0; now <= last; now = sample_now()) {
    const auto is_due = [&](const ScenarioStep& step) {
      return whole_samples(step.at_s, rate_hz) <= now;
    };
    if (next_step < scenario.steps.size() && is_due(scenario.steps[next_step])) {
      for (const ScenarioCommand& command : scenario.steps[next_step].commands)
        device.set(command.actuator, command.value);
      ++next_step;
      continue;
    }
    if (next_gust < scenario.gusts.size() &&
        whole_samples(scenario.gusts[next_gust].at_s, rate_hz) <= now) {
      device.start_gust(scenario.gusts[next_gust++].gust);
    }
    const bool row_due = next_row <= now;
    ScenarioRow row{.time_s = static_cast<double>(now) / rate_hz, .shown = {}, .truth = {}};
    if (row_due) {
      row.truth = device.truth();
      add_energies(row.truth, device.energy());
      next_row = now - now % every + every;
    }
    std::int64_t until = std::min(next_row, last + 1);
    if (next_step < scenario.steps.size()) {
      until = std::min(until, whole_samples(scenario.steps[next_step].at_s, rate_hz));
    }
    if (next_gust < scenario.gusts.size()) {
      until = std::min(until, whole_samples(scenario.gusts[next_gust].at_s, rate_hz));
    }
    device.read(block, static_cast<std::size_t>(until - now));
    if (!row_due) continue;
    for (std::size_t i = 0; i < bench.channels.size(); ++i) {
      row.shown.push_back(
          shown_value(bench.channels[i], certificates[i], block.channel(i).front()));
    }
    take(row);
  }
}

}  // namespace windwright::twin
