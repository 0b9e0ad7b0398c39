// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/fault_campaign.h"
#include "end_to_end/fault_world.h"
#include "twin/fault.h"

#include <fmt/format.h>

#include <cstddef>
#include <cstdint>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

using twin::FaultKind;
using Words = std::vector<std::string>;

const Words no_acquisition_heard{"the acquisition process has been silent",
                                 "no client wrote anything"};
const Words no_guard_heard{"the guard process has been silent",
                           "the guard process wrote no heartbeat"};
const Words guard_cut{"the guard's own way to the bench is gone",
                      "the guard process wrote no heartbeat"};
const Words too_fast{"'rotor overspeed'", "'DC over-voltage'"};
const Words no_load{"'load lost'", "'rotor overspeed'", "'DC over-voltage'"};

Words together(Words a, const Words& b) {
  a.insert(a.end(), b.begin(), b.end());
  return a;
}

void add_processes(std::vector<Mishap>& all) {
  const std::string only_proof =
      "a layer that says it is well and judges nothing shows when its interlocks are proved";
  all.push_back({.name = "interlocks of the acquisition dead",
                 .begin = [](FaultWorld& world) { world.blind_acquisition(); },
                 .loss = {.blinds_acquisition = true},
                 .unnoticed = only_proof});
  all.push_back({.name = "acquisition killed",
                 .begin = [](FaultWorld& world) { world.kill_acquisition(); },
                 .loss = {.stops_acquisition = true},
                 .causes = {"the acquisition process died", "no client wrote anything"}});
  all.push_back({.name = "acquisition frozen",
                 .begin = [](FaultWorld& world) { world.freeze_acquisition(); },
                 .loss = {.stops_acquisition = true},
                 .causes = no_acquisition_heard});
  all.push_back({.name = "acquisition's link cut",
                 .begin = [](FaultWorld& world) { world.cut_acquisition(); },
                 .loss = {.stops_acquisition = true},
                 .causes = no_acquisition_heard});
  all.push_back({.name = "interlocks of the guard dead",
                 .begin = [](FaultWorld& world) { world.blind_guard(); },
                 .loss = {.blinds_guard = true},
                 .unnoticed = only_proof});
  all.push_back(
      {.name = "guard killed",
       .begin = [](FaultWorld& world) { world.kill_guard(); },
       .loss = {.stops_guard = true},
       .causes = {"the guard process has ended", "the guard process wrote no heartbeat"}});
  all.push_back({.name = "guard frozen",
                 .begin = [](FaultWorld& world) { world.freeze_guard(); },
                 .loss = {.stops_guard = true},
                 .causes = no_guard_heard});
  all.push_back({.name = "guard's link cut",
                 .begin = [](FaultWorld& world) { world.cut_guard(); },
                 .loss = {.stops_guard = true},
                 .causes = guard_cut});
  all.push_back({.name = "both links cut",
                 .begin =
                     [](FaultWorld& world) {
                       world.cut_acquisition();
                       world.cut_guard();
                     },
                 .loss = {.stops_acquisition = true, .stops_guard = true},
                 .causes = together(no_acquisition_heard, guard_cut)});
}

void add_device(std::vector<Mishap>& all) {
  all.push_back({.name = "watchdog dead",
                 .begin = [](FaultWorld&) {},
                 .loss = {.kills_watchdog = true},
                 .unnoticed = "shows when somebody pulls the link before the session"});
  all.push_back({.name = "limits of the actuators dead",
                 .begin = [](FaultWorld& world) { world.kill_limits(); },
                 .unnoticed = "shows with the first setting beyond them"});
  all.push_back(
      {.name = "hard-wired chain bridged",
       .begin = [](FaultWorld& world) { world.start_fault({.kind = FaultKind::bridged_loop}); },
       .loss = {.holds_contactor = true, .hides_chain = true},
       .unnoticed = "shows when somebody opens the cover before the session"});
  all.push_back(
      {.name = "contactor welded",
       .begin = [](FaultWorld& world) { world.start_fault({.kind = FaultKind::welded_contactor}); },
       .loss = {.holds_contactor = true},
       .unnoticed = "shows when somebody presses the emergency stop before the session"});
  all.push_back({.name = "fan stuck",
                 .begin =
                     [](FaultWorld& world) {
                       world.start_fault(
                           {.kind = FaultKind::stuck_actuator, .actuator = "fan_pct"});
                     },
                 .loss = {.holds_fan = true},
                 .unnoticed = "shows with the next command"});
  all.push_back({.name = "load selector stuck",
                 .begin =
                     [](FaultWorld& world) {
                       world.start_fault(
                           {.kind = FaultKind::stuck_actuator, .actuator = "load_selector"});
                     },
                 .loss = {.holds_load = true},
                 .unnoticed = "shows with the next command"});
  all.push_back({.name = "disk full",
                 .begin = [](FaultWorld& world) { world.fill_disk(); },
                 .loss = {.fills_disk = true},
                 .causes = {"'disk nearly full'"}});
  all.push_back({.name = "clock stepped",
                 .begin = [](FaultWorld& world) { world.step_clock(3600.0); },
                 .causes = {"interlock 'clock'"}});
}

struct SensorFaults {
  const char* channel;
  double noise;
  Words if_stuck;  // first causes; empty: no interlock watches for it
  Words if_lost;
};

void add_sensors(std::vector<Mishap>& all) {
  const std::vector<SensorFaults> sensors{
      {"rotor_speed_rad_s", 10.0, {"'rotor speed sensor stuck'", "'rotor speed implausible'"}, {}},
      {"dc_voltage_V", 2.0, {"'DC voltage sensor stuck'"}, {}},
      {"air_speed_m_s", 0.5, {"'air speed sensor stuck'"}, {"'air speed sensor lost'"}},
      {"dc_current_A", 0.3, {}, {"'load lost'"}}};
  for (const auto& [channel, noise, if_stuck, if_lost] : sensors) {
    const auto add = [&all, channel = std::string(channel)](const char* words, FaultKind kind,
                                                            double amount, const Words& causes) {
      all.push_back({.name = fmt::format("{} {}", channel, words),
                     .begin =
                         [=](FaultWorld& world) {
                           world.start_fault({.kind = kind, .channel = channel, .amount = amount});
                         },
                     .causes = causes,
                     .unnoticed = causes.empty() ? kind == FaultKind::noisy_sensor
                                                       ? "noise alone is no reason to stop"
                                                       : "no interlock of this bench watches for it"
                                                 : "",
                     .sensor = channel});
    };
    add("stuck", FaultKind::stuck_sensor, 0.0, if_stuck);
    // One at the end of its converter gives the same count again and again as well.
    add("lost", FaultKind::lost_sensor, -1.0, if_lost.empty() ? if_stuck : if_lost);
    add("noisy", FaultKind::noisy_sensor, noise, {});
  }
}

}  // namespace

Loss operator|(const Loss& a, const Loss& b) {
  return {.blinds_acquisition = a.blinds_acquisition || b.blinds_acquisition,
          .stops_acquisition = a.stops_acquisition || b.stops_acquisition,
          .blinds_guard = a.blinds_guard || b.blinds_guard,
          .stops_guard = a.stops_guard || b.stops_guard,
          .kills_watchdog = a.kills_watchdog || b.kills_watchdog,
          .holds_fan = a.holds_fan || b.holds_fan,
          .holds_contactor = a.holds_contactor || b.holds_contactor,
          .hides_chain = a.hides_chain || b.hides_chain,
          .holds_load = a.holds_load || b.holds_load,
          .fills_disk = a.fills_disk || b.fills_disk};
}

std::vector<Mishap> all_mishaps() {
  std::vector<Mishap> all;
  add_processes(all);
  add_device(all);
  add_sensors(all);
  return all;
}

std::vector<Danger> all_dangers() {
  return {{.name = "the fault alone", .begin = [](FaultWorld&, Draws&) { return false; }},
          {.name = "the load falls off",
           .begin = [](FaultWorld& world, Draws&) { return world.lose_load(); },
           .causes = no_load,
           .cuts_load = true,
           .runs_away = true},
          {.name = "the DC fuse blows",
           .begin =
               [](FaultWorld& world, Draws&) {
                 world.blow_fuse();
                 return true;
               },
           .causes = together(no_load, {"'fuse blown'"}),
           .opens_chain = true,
           .opens_circuit = true},
          {.name = "somebody opens the cover",
           .begin =
               [](FaultWorld& world, Draws&) {
                 world.start_fault({.kind = FaultKind::open_cover});
                 return true;
               },
           .causes = {"'cover open'"},
           .opens_chain = true,
           .is_hidden = true},
          {.name = "the fan is asked for more than 100 %",
           .begin =
               [](FaultWorld& world, Draws& random) {
                 return world.ask_for("fan_pct", random.between(150.0, 200.0));
               },
           .causes = together(too_fast, {"limits: ", "'air speed'"}),
           .runs_away = true},
          {.name = "driven on without a load",
           .begin =
               [](FaultWorld& world, Draws& random) {
                 return world.drive_on_without_load(random.between(80.0, 100.0));
               },
           .causes = together(no_load, {"'air speed'"}),
           .cuts_load = true,
           .runs_away = true},
          {.name = "the winding is too hot",
           .begin =
               [](FaultWorld& world, Draws& random) {
                 world.heat_winding(random.between(373.0, 390.0));
                 return true;
               },
           .causes = {"'winding temperature'"}},
          {.name = "a gust",
           .begin =
               [](FaultWorld& world, Draws& random) {
                 world.blow(random.between(15.0, 16.5), random.between(3.0, 4.0));
                 return true;
               },
           .causes = together(too_fast, {"'air speed'"}),
           .lasts_s = 2.5}};
}

std::vector<Case> all_cases(const Campaign& campaign) {
  std::vector<Case> cases;
  std::uint64_t seed = 1;
  const std::size_t mishaps = campaign.mishaps.size();
  for (std::size_t danger = 0; danger < campaign.dangers.size(); ++danger) {
    for (std::size_t i = 0; i < mishaps; ++i)
      cases.push_back({.mishaps = {i}, .danger = danger, .seed = seed++});
    for (std::size_t i = 0; i < mishaps; ++i) {
      for (std::size_t k = i + 1; k < mishaps; ++k) {
        const std::string& sensor = campaign.mishaps[i].sensor;
        if (!sensor.empty() && sensor == campaign.mishaps[k].sensor) continue;
        cases.push_back({.mishaps = {i, k}, .danger = danger, .seed = seed++});
      }
    }
  }
  return cases;
}

std::string words_of(const Campaign& campaign, const Case& one) {
  std::string words = campaign.mishaps[one.mishaps[0]].name;
  if (one.mishaps.size() > 1) words += " + " + campaign.mishaps[one.mishaps[1]].name;
  return fmt::format("{} | {} (seed {})", words, campaign.dangers[one.danger].name, one.seed);
}

}  // namespace windwright::end_to_end
