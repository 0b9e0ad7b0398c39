// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/table.h"
#include "base/text.h"
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

struct NamedFault {
  std::string_view name;
  FaultKind kind;
};
constexpr std::array<NamedFault, 9> faults{{{"blocked_fan", FaultKind::blocked_fan},
                                            {"worn_bearing", FaultKind::worn_bearing},
                                            {"stuck_sensor", FaultKind::stuck_sensor},
                                            {"drifted_sensor", FaultKind::drifted_sensor},
                                            {"swapped_polarity", FaultKind::swapped_polarity},
                                            {"loose_clamp", FaultKind::loose_clamp},
                                            {"open_phase", FaultKind::open_phase},
                                            {"shorted_diode", FaultKind::shorted_diode},
                                            {"sulphated_cell", FaultKind::sulphated_cell}}};

std::string read_channel(const base::Settings& table, const bench::Bench& bench, FaultKind kind) {
  std::vector<std::string> names;
  for (const bench::Channel& channel : bench.channels) {
    const bool current = channel.name.ends_with("_A");
    // A true RMS has no sign; a power has that of its current.
    const bool electrical =
        (current || channel.name.ends_with("_V") || channel.name == "inverter_output_W") &&
        channel.name.find("_rms_") == std::string::npos;
    if (kind == FaultKind::loose_clamp && !current) continue;
    if (kind == FaultKind::swapped_polarity && !electrical) continue;
    names.push_back(channel.name);
  }
  std::string channel = table.text("channel");
  if (std::find(names.begin(), names.end(), channel) == names.end()) {
    throw base::BadInput(table.place("channel"),
                         fmt::format("channel '{}' cannot have this fault", channel),
                         base::either_of(names));
  }
  return channel;
}

// With a resistance at the bridge's terminals the current is smoothed, and its faults are not
// modelled.
void read_chain_fault(const base::Settings& table, const bench::Bench& bench, Fault& fault) {
  if (!bench.chain) {
    throw base::BadInput(table.place("kind"),
                         fmt::format("'{}' needs a bench with a battery", table.text("kind")),
                         "a fault of this bench: docs/bench.md");
  }
  if (fault.kind != FaultKind::sulphated_cell) return;
  fault.amount = table.number_or("resistance_factor", 10.0, {.at_least = 1.0, .at_most = 1e4});
  fault.lost_share = table.number_or("lost_pct", 40.0, {.at_least = 0.0, .at_most = 99.0}) / 100.0;
}

ScenarioFault read_fault(const base::Settings& table, const bench::Bench& bench) {
  const std::string name = table.text("kind");
  const auto found = std::find_if(faults.begin(), faults.end(),
                                  [&](const NamedFault& fault) { return fault.name == name; });
  if (found == faults.end()) {
    std::vector<std::string> names;
    for (const NamedFault& fault : faults)
      names.emplace_back(fault.name);
    throw base::BadInput(table.place("kind"), fmt::format("there is no fault '{}'", name),
                         base::either_of(names));
  }
  ScenarioFault result{.at_s = table.number("at_s", {.at_least = 0.0, .at_most = latest_s}),
                       .until_s = table.number_or("until_s", latest_s, {.at_most = latest_s}),
                       .fault = {.kind = found->kind}};
  if (!(result.until_s > result.at_s)) {
    throw base::BadInput(table.place("until_s"), "the fault ends before it begins",
                         fmt::format("later than {}", result.at_s));
  }
  Fault& fault = result.fault;
  const base::Bounds share_pct{.at_most = 100.0, .above = 0.0};
  switch (fault.kind) {
    case FaultKind::blocked_fan:
      fault.amount = table.number_or("lost_pct", 60.0, share_pct) / 100.0;
      return result;
    case FaultKind::worn_bearing:
      fault.amount = table.number_or("friction_factor", 5.0, {.at_least = 1.0, .at_most = 1000.0});
      return result;
    case FaultKind::open_phase:
    case FaultKind::shorted_diode:
    case FaultKind::sulphated_cell:
      read_chain_fault(table, bench, fault);
      return result;
    case FaultKind::drifted_sensor:
      fault.amount = table.number("drift", {.at_least = -1e6, .at_most = 1e6});
      fault.over_s = table.number_or("over_s", 0.0, {.at_least = 0.0, .at_most = latest_s});
      break;
    case FaultKind::loose_clamp:
      fault.amount = table.number_or("lost_pct", 30.0, {.at_most = 50.0, .above = 0.0}) / 100.0;
      break;
    default:
      break;
  }
  fault.channel = read_channel(table, bench, fault.kind);
  return result;
}

// Two faults that act through one part, so that the end of one would end the other, too.
bool share_a_part(const Fault& one, const Fault& other) {
  const auto of_bridge = [](FaultKind kind) {
    return kind == FaultKind::open_phase || kind == FaultKind::shorted_diode;
  };
  if (of_bridge(one.kind) && of_bridge(other.kind)) return true;
  if (!one.channel.empty()) return one.channel == other.channel;
  return one.kind == other.kind;
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
    ScenarioFault fault = read_fault(table, bench);
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
