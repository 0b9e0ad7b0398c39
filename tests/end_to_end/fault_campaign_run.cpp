// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/fault_campaign.h"
#include "end_to_end/fault_world.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

constexpr double steady_s = 0.5;
constexpr double watched_s = 4.0;  // most, but for a controlled stop, which is let come to its end
constexpr double safe_for_s = 0.75;  // longer than the guard waits before it commands it again
constexpr double settled_s = 0.1;

Loss loss_of(const Campaign& campaign, const Case& one) {
  Loss loss;
  for (const std::size_t i : one.mishaps)
    loss = loss | campaign.mishaps[i].loss;
  return loss;
}

/// Whether nothing can save it any more where all software is dead: no more is to come, and the
/// hard-wired chain does at once what it does.
bool is_lost(const Ending& ending, const Danger* danger) {
  if (!ending.fan_power) return false;
  if (danger == nullptr) return true;
  return ending.violated && (!danger->runs_away || ending.highest_of_limit > most_of_limit);
}

/// What goes wrong goes wrong at a time drawn by seed, the danger before, between or after it.
/// @param dead    all software from the start
/// @param danger  whether there is to be one
Ending history(const Campaign& campaign, const Case& one, FaultBench& bench, bool dead,
               bool danger) {
  Draws random(one.seed);
  const FaultWorld::Drive drive{.fan_pct = random.between(60.0, 80.0),
                                .rheostat_ohm = random.between(7.0, 12.0)};
  const bool watchdog_dead = dead || loss_of(campaign, one).kills_watchdog;
  FaultWorld world(bench, drive, watchdog_dead ? 1e9 : FaultWorld::usual_watchdog_s);
  if (dead) world.kill_all_software();
  Ending ending;
  std::vector<std::pair<double, std::function<void(FaultWorld&)>>> events;
  for (const std::size_t i : one.mishaps)
    events.emplace_back(steady_s + random.uniform(), campaign.mishaps[i].begin);
  const double danger_at_s = steady_s + 1.3 * random.uniform();
  if (danger) {
    events.emplace_back(danger_at_s, [&](FaultWorld& endangered) {
      ending.in_danger = campaign.dangers[one.danger].begin(endangered, random);
    });
  }
  double since_s = 0.0;  // the last of what goes wrong
  double safe_s = 0.0;
  for (double t = 0.0; t < steady_s + watched_s || world.is_stopping(); t += FaultWorld::step_s) {
    since_s += FaultWorld::step_s;
    for (auto& [at_s, begin] : events) {
      if (!begin || t < at_s) continue;
      begin(world);
      begin = nullptr;
      since_s = 0.0;
    }
    world.step();
    if (t < steady_s && !world.first_cause().empty()) {
      ADD_FAILURE() << "tripped before anything was wrong: " << world.first_cause();
      break;
    }
    const FaultWorld::Truth truth = world.truth();
    ending.highest_of_limit = std::max(ending.highest_of_limit, truth.of_speed_limit);
    ending.violated = ending.violated || truth.violates;
    ending.fan_power = truth.fan_power;
    ending.loaded = truth.loaded;
    ending.stands = truth.stands;
    const bool all_begun = std::none_of(events.begin(), events.end(),
                                        [](const auto& event) { return event.second != nullptr; });
    if (!all_begun) continue;
    safe_s = ending.is_safe() && !ending.cause.empty() ? safe_s + FaultWorld::step_s : 0.0;
    const Danger* there = ending.in_danger ? &campaign.dangers[one.danger] : nullptr;
    if (since_s > (there != nullptr ? there->lasts_s : 0.0) && safe_s > safe_for_s) break;
    if (dead && since_s > settled_s && is_lost(ending, there)) break;
  }
  ending.cause = world.first_cause();
  // An open cover hurts whoever reaches in, and an open circuit leaves the rotor without a load.
  ending.violated =
      ending.violated || (ending.in_danger && campaign.dangers[one.danger].opens_chain);
  return ending;
}

/// What is left of the layers neither sees it nor can do anything about it, and why.
std::optional<std::string> uncovered(const Loss& loss, const Danger* danger) {
  if (loss.stops_acquisition && loss.stops_guard && loss.kills_watchdog)
    return "nobody is left who can stop the fan";
  if (loss.holds_fan && loss.holds_contactor)
    return "the fan is stuck, and its contactor does not open";
  if (danger == nullptr) {
    if (loss.fills_disk && loss.blinds_acquisition) return "only the acquisition looks at its disk";
    return std::nullopt;
  }
  if (danger->is_hidden && loss.hides_chain)
    return "an open cover behind a bridged chain shows nowhere";
  if (loss.blinds_acquisition && loss.blinds_guard) return "nobody is left who judges";
  if (danger->opens_circuit && loss.holds_contactor)
    return "the fan is off, but neither load nor brake is left";
  if (danger->cuts_load && loss.holds_load && loss.holds_contactor)
    return "the fan is off, but the load selector is stuck where no load is, and no brake is left";
  return std::nullopt;
}

/// Nobody has to notice it by itself; why.
std::optional<std::string> unnoticed(const Campaign& campaign, const Case& one) {
  std::string why;
  for (const std::size_t i : one.mishaps) {
    if (!campaign.mishaps[i].causes.empty()) return std::nullopt;
    why = campaign.mishaps[i].unnoticed;
  }
  return why;
}

bool fits(const std::string& cause, const Campaign& campaign, const Case& one, bool in_danger) {
  const auto is_told = [&cause](const std::string& words) {
    return cause.find(words) != std::string::npos;
  };
  const auto any = [&is_told](const std::vector<std::string>& all) {
    return std::any_of(all.begin(), all.end(), is_told);
  };
  return (in_danger && any(campaign.dangers[one.danger].causes)) ||
         std::any_of(one.mishaps.begin(), one.mishaps.end(),
                     [&](std::size_t i) { return any(campaign.mishaps[i].causes); });
}

}  // namespace

bool Ending::is_safe() const {
  return !fan_power && (loaded || stands) && highest_of_limit <= most_of_limit;
}

bool Result::held() const {
  if (kind == Kind::nothing_to_notice && ending.cause.empty())
    return ending.highest_of_limit <= 1.0;
  if (kind == Kind::held_anyway && ending.is_quiet()) return true;
  return ending.is_safe() && cause_fits;
}

Result result_of(const Campaign& campaign, const Case& one, FaultBench& bench) {
  Result result{.ending = history(campaign, one, bench, false, true),
                .control = {},
                .kind = Kind::counted,
                .why = {},
                .cause_fits = false};
  const bool in_danger = result.ending.in_danger;
  result.control = history(campaign, one, bench, true, in_danger);
  result.cause_fits = fits(result.ending.cause, campaign, one, in_danger);
  const Danger* danger = in_danger ? &campaign.dangers[one.danger] : nullptr;
  const auto nobody = in_danger ? std::nullopt : unnoticed(campaign, one);
  const auto lost = uncovered(loss_of(campaign, one), danger);
  if (nobody) {
    result.kind = Kind::nothing_to_notice;
    result.why = *nobody;
  } else if (lost) {
    result.kind = Kind::uncovered;
    result.why = *lost;
  } else if (result.control.is_safe() || (in_danger && !result.control.violated)) {
    result.kind = Kind::held_anyway;
  }
  return result;
}

}  // namespace windwright::end_to_end
