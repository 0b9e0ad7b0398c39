// SPDX-License-Identifier: Apache-2.0
#include "twin/fault_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/bench.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::twin {
namespace {

using base::BadInput;
using base::Settings;

constexpr double latest_s = 1e7;

enum class Of { bench, sensor, battery, actuator, tower, hard_wired };

struct KnownFault {
  std::string_view name;
  FaultKind kind;
  Of of;
};
constexpr std::array<KnownFault, 21> known_faults{
    {{"blocked_fan", FaultKind::blocked_fan, Of::bench},
     {"worn_bearing", FaultKind::worn_bearing, Of::bench},
     {"stuck_sensor", FaultKind::stuck_sensor, Of::sensor},
     {"lost_sensor", FaultKind::lost_sensor, Of::sensor},
     {"noisy_sensor", FaultKind::noisy_sensor, Of::sensor},
     {"scaled_sensor", FaultKind::scaled_sensor, Of::sensor},
     {"drifted_sensor", FaultKind::drifted_sensor, Of::sensor},
     {"swapped_polarity", FaultKind::swapped_polarity, Of::sensor},
     {"loose_clamp", FaultKind::loose_clamp, Of::sensor},
     {"open_phase", FaultKind::open_phase, Of::battery},
     {"shorted_diode", FaultKind::shorted_diode, Of::battery},
     {"sulphated_cell", FaultKind::sulphated_cell, Of::battery},
     {"loose_blade", FaultKind::loose_blade, Of::tower},
     {"stuck_actuator", FaultKind::stuck_actuator, Of::actuator},
     {"dead_limits", FaultKind::dead_limits, Of::bench},
     {"pressed_emergency_stop", FaultKind::pressed_emergency_stop, Of::hard_wired},
     {"open_cover", FaultKind::open_cover, Of::hard_wired},
     {"blown_fuse", FaultKind::blown_fuse, Of::hard_wired},
     {"broken_loop_wire", FaultKind::broken_loop_wire, Of::hard_wired},
     {"bridged_loop", FaultKind::bridged_loop, Of::hard_wired},
     {"welded_contactor", FaultKind::welded_contactor, Of::hard_wired}}};

const KnownFault& known_fault(const Settings& table) {
  const std::string name = table.text("kind");
  std::vector<std::string> names;
  for (const KnownFault& fault : known_faults) {
    if (fault.name == name) return fault;
    names.emplace_back(fault.name);
  }
  throw BadInput(table.place("kind"), fmt::format("there is no fault '{}'", name),
                 base::either_of(names));
}

// What a fault needs and the bench does not have; empty where nothing is missing. With a resistance
// at the bridge's terminals the current is smoothed, and its faults are not modelled.
std::string_view missing_part(Of of, const bench::Bench& bench) {
  if (of == Of::battery && !bench.chain) return "battery";
  if (of == Of::tower && !bench.tower) return "[tower]";
  if (of == Of::hard_wired && !bench.hard_wired) return "hard-wired chain";
  return {};
}

std::string read_channel(const Settings& table, const bench::Bench& bench, FaultKind kind) {
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
    throw BadInput(table.place("channel"),
                   fmt::format("channel '{}' cannot have this fault", channel),
                   base::either_of(names));
  }
  return channel;
}

std::string read_actuator(const Settings& table, const bench::Bench& bench) {
  std::vector<std::string> names;
  for (const bench::Actuator& actuator : bench.actuators) {
    if (!actuator.manual) names.push_back(actuator.name);
  }
  std::string actuator = table.text("actuator");
  if (std::find(names.begin(), names.end(), actuator) == names.end()) {
    throw BadInput(table.place("actuator"), fmt::format("actuator '{}' cannot be stuck", actuator),
                   base::either_of(names));
  }
  return actuator;
}

double lost_end(const Settings& table) {
  const std::string end = table.text_or("end", "lower");
  if (end == "lower") return -1.0;
  if (end == "upper") return 1.0;
  throw BadInput(table.place("end"), fmt::format("a converter has no end '{}'", end),
                 "\"lower\" or \"upper\"");
}

void read_amount(const Settings& table, Fault& fault) {
  const base::Bounds share_pct{.at_most = 100.0, .above = 0.0};
  switch (fault.kind) {
    case FaultKind::blocked_fan:
      fault.amount = table.number_or("lost_pct", 60.0, share_pct) / 100.0;
      break;
    case FaultKind::worn_bearing:
      fault.amount = table.number_or("friction_factor", 5.0, {.at_least = 1.0, .at_most = 1000.0});
      break;
    case FaultKind::sulphated_cell:
      fault.amount = table.number_or("resistance_factor", 10.0, {.at_least = 1.0, .at_most = 1e4});
      fault.lost_share =
          table.number_or("lost_pct", 40.0, {.at_least = 0.0, .at_most = 99.0}) / 100.0;
      break;
    case FaultKind::drifted_sensor:
      fault.amount = table.number("drift", {.at_least = -1e6, .at_most = 1e6});
      fault.over_s = table.number_or("over_s", 0.0, {.at_least = 0.0, .at_most = latest_s});
      break;
    case FaultKind::loose_clamp:
      fault.amount = table.number_or("lost_pct", 30.0, {.at_most = 50.0, .above = 0.0}) / 100.0;
      break;
    case FaultKind::lost_sensor:
      fault.amount = lost_end(table);
      break;
    case FaultKind::noisy_sensor:
      fault.amount = table.number("noise", {.at_most = 1e6, .above = 0.0});
      break;
    case FaultKind::scaled_sensor:
      fault.amount = table.number("factor", {.at_least = -1e3, .at_most = 1e3});
      break;
    case FaultKind::loose_blade:
      fault.amount = table.number_or("at_tip_kg", 0.005, {.at_most = 10.0, .above = 0.0});
      break;
    default:
      break;
  }
}

}  // namespace

ScenarioFault fault_from_table(const Settings& table, const bench::Bench& bench) {
  const KnownFault& known = known_fault(table);
  ScenarioFault result{.at_s = table.number("at_s", {.at_least = 0.0, .at_most = latest_s}),
                       .until_s = table.number_or("until_s", latest_s, {.at_most = latest_s}),
                       .fault = {.kind = known.kind}};
  if (!(result.until_s > result.at_s)) {
    throw BadInput(table.place("until_s"), "the fault ends before it begins",
                   fmt::format("later than {}", result.at_s));
  }
  if (const std::string_view missing = missing_part(known.of, bench); !missing.empty()) {
    throw BadInput(table.place("kind"),
                   fmt::format("'{}' needs a bench with a {}", known.name, missing),
                   "a fault of this bench: docs/bench.md");
  }
  read_amount(table, result.fault);
  if (known.of == Of::sensor) result.fault.channel = read_channel(table, bench, known.kind);
  if (known.of == Of::actuator) result.fault.actuator = read_actuator(table, bench);
  return result;
}

bool share_a_part(const Fault& one, const Fault& other) {
  const auto of_bridge = [](FaultKind kind) {
    return kind == FaultKind::open_phase || kind == FaultKind::shorted_diode;
  };
  if (of_bridge(one.kind) && of_bridge(other.kind)) return true;
  if (!one.channel.empty()) return one.channel == other.channel;
  return one.kind == other.kind && one.actuator == other.actuator;
}

}  // namespace windwright::twin
