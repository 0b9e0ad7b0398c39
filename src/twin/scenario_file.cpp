// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/table.h"
#include "base/text.h"
#include "twin/fault_table.h"
#include "twin/scenario.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <string>
#include <string_view>
#include <utility>
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
  const std::optional<double> value = actuator.position(position);
  if (!value) {
    throw base::BadInput(step.place(actuator.name),
                         fmt::format("{} has no position '{}'", actuator.name, position),
                         base::either_of(actuator.positions));
  }
  return *value;
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

constexpr double strongest_wind_m_s = 60.0;
constexpr double latest_s = 1e7;

// A step, or a ramp that ends as late as it lasts.
void read_wind(const base::Settings& table, std::vector<WindPoint>& wind) {
  const double at_s = table.number("at_s", {.at_least = 0.0, .at_most = latest_s});
  const double ramp_s = table.number_or("ramp_s", 0.0, {.at_least = 0.0, .at_most = latest_s});
  const double air_speed_m_s =
      table.number("air_speed_m_s", {.at_least = 0.0, .at_most = strongest_wind_m_s});
  if (wind.empty() && ramp_s > 0.0) {
    throw base::BadInput(table.place("ramp_s"), "the first wind has nothing to rise from",
                         "a first [[wind]] without ramp_s");
  }
  if (!wind.empty()) {
    if (at_s < wind.back().at_s) {
      throw base::BadInput(table.place("at_s"),
                           fmt::format("at_s is {}, before the wind above it is there", at_s),
                           fmt::format("winds in time, at least {}", wind.back().at_s));
    }
    wind.push_back({at_s, wind.back().air_speed_m_s});
  }
  wind.push_back({at_s + ramp_s, air_speed_m_s});
}

std::vector<WindPoint> wind_from_file(const std::filesystem::path& file) {
  const base::Table table = base::Table::from_file(file);
  const std::size_t time = table.required_column("time_s");
  const std::size_t speed = table.required_column("air_speed_m_s");
  std::vector<WindPoint> wind;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const WindPoint point{.at_s = table.number(row, time),
                          .air_speed_m_s = table.number(row, speed)};
    if (point.at_s < 0.0 || (!wind.empty() && point.at_s <= wind.back().at_s)) {
      throw base::BadInput(
          table.place(row), fmt::format("time_s is {}", point.at_s),
          wind.empty() ? std::string("0 or more") : fmt::format("later than {}", wind.back().at_s));
    }
    if (point.air_speed_m_s < 0.0 || point.air_speed_m_s > strongest_wind_m_s) {
      throw base::BadInput(table.place(row),
                           fmt::format("air_speed_m_s is {}", point.air_speed_m_s),
                           fmt::format("from 0 to {}", strongest_wind_m_s));
    }
    wind.push_back(point);
  }
  return wind;
}

void require_apart(const base::Settings& table, const ScenarioFault& fault,
                   const std::vector<ScenarioFault>& before) {
  for (const ScenarioFault& other : before) {
    if (!share_a_part(fault.fault, other.fault)) continue;
    if (fault.at_s >= other.until_s || other.at_s >= fault.until_s) continue;
    throw base::BadInput(
        table.place("at_s"),
        fmt::format("at_s is {}, while another fault of the same part lasts", fault.at_s),
        fmt::format("a fault that does not overlap {} to {}", other.at_s, other.until_s));
  }
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
  for (const base::Settings& table : root.tables("wind"))
    read_wind(table, scenario.wind);
  if (root.has("wind_file")) {
    if (!scenario.wind.empty()) {
      throw base::BadInput(root.place("wind_file"), "there are [[wind]] tables, too",
                           "one of both");
    }
    scenario.wind = wind_from_file(base::named_file(
        file.parent_path(), file.parent_path(), root.text("wind_file"), root.place("wind_file")));
  }
  for (const base::Settings& table : root.tables("fault")) {
    ScenarioFault fault = fault_from_table(table, bench);
    require_apart(table, fault, scenario.faults);
    scenario.faults.push_back(std::move(fault));
  }
  if (scenario.steps.empty() && scenario.wind.empty()) {
    throw base::BadInput(root.place(), "the scenario has no step and no wind",
                         "[[step]] with at_s and actuators, or [[wind]]");
  }
  root.refuse_unread_keys();
  return scenario;
}

}  // namespace windwright::twin
