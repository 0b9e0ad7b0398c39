// SPDX-License-Identifier: Apache-2.0
#include "bench/interlock_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/interlock.h"
#include "bench/overspeed.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;
using Kind = Interlock::Kind;

constexpr std::array<std::pair<std::string_view, Kind>, 5> kinds{{{"bound", Kind::bound},
                                                                  {"lost", Kind::lost},
                                                                  {"stuck", Kind::stuck},
                                                                  {"clock", Kind::clock},
                                                                  {"disk", Kind::disk}}};
constexpr double largest = 1e9;
constexpr double longest_hold_s = 3600.0;

Kind kind_of(const Settings& table) {
  const std::string word = table.text_or("kind", "bound");
  std::vector<std::string> names;
  for (const auto& [name, kind] : kinds) {
    if (word == name) return kind;
    names.emplace_back(name);
  }
  throw BadInput(table.place("kind"), fmt::format("kind '{}' is not known", word),
                 base::either_of(names));
}

// One of three words; where the key is left out, the fallback.
template <typename Word>
Word word_of(const Settings& table, std::string_view key, const std::array<Word, 3>& words,
             Word fallback) {
  if (!table.has(key)) return fallback;
  const std::string given = table.text(key);
  std::vector<std::string> names;
  for (const Word word : words) {
    if (given == name(word)) return word;
    names.emplace_back(name(word));
  }
  throw BadInput(table.place(key), fmt::format("{} '{}' is not known", key, given),
                 base::either_of(names));
}

void read_response(const Settings& table, Interlock& interlock) {
  using enum Interlock::Consequence;
  using enum Interlock::Priority;
  interlock.consequence = word_of(table, "consequence", std::array{injury, damage, lost_run},
                                  interlock.stop_category == 2 ? lost_run : damage);
  interlock.priority =
      word_of(table, "priority", std::array{high, medium, low},
              Interlock::usual_priority(interlock.consequence, interlock.stop_category));
  interlock.respond =
      table.text_or("respond", interlock.priority == high     ? "at once"
                               : interlock.priority == medium ? "within minutes"
                                                              : "before the next start");
}

// A channel whose mean over a block says something.
const Channel& judged_channel(const Settings& table, std::string_view key, const Bench& bench) {
  const std::string name = table.text(key);
  if (is_alternating(name)) {
    throw BadInput(table.place(key), fmt::format("'{}' alternates, so its mean says nothing", name),
                   "the DC channel behind it, such as dc_current_A");
  }
  const auto found = std::find_if(bench.channels.begin(), bench.channels.end(),
                                  [&](const Channel& channel) { return channel.name == name; });
  if (found != bench.channels.end()) return *found;
  std::vector<std::string> names;
  for (const Channel& channel : bench.channels)
    names.push_back(channel.name);
  throw BadInput(table.place(key), fmt::format("channel '{}' is not on this bench", name),
                 base::either_of(names));
}

void require_can_trip(const Settings& table, std::string_view key, const Channel& channel,
                      double bound) {
  if (!channel.simulated || std::isinf(bound)) return;
  const double reading_V = channel.simulated->offset_V + channel.simulated->sensitivity_V * bound;
  if (reading_V > channel.converter.lower_V && reading_V < channel.converter.upper_V) return;
  throw BadInput(table.place(key),
                 fmt::format("{} lies outside the converter's range, so the interlock '{}' could "
                             "never trip",
                             bound, table.text("name")),
                 "a bound that the channel can measure");
}

void read_bounds(const Settings& table, const Bench& bench, Interlock& interlock) {
  const Channel& channel = judged_channel(table, "channel", bench);
  if (table.has("with")) {
    interlock.with = judged_channel(table, "with", bench).name;
    interlock.factor = table.number_or("factor", 1.0, {.at_least = -largest, .at_most = largest});
  }
  const base::Bounds any{.at_least = -largest, .at_most = largest};
  const bool of_the_rotor = channel.name == "rotor_speed_rad_s" && interlock.with.empty();
  if (table.has("lowest")) interlock.lowest = table.number("lowest", any);
  if (table.has("highest") || std::isinf(interlock.lowest)) {
    interlock.highest = of_the_rotor ? overspeed_bound(table, bench) : table.number("highest", any);
  }
  if (interlock.lowest >= interlock.highest) {
    throw BadInput(table.place("lowest"), "lowest is not below highest",
                   fmt::format("a number below {}", interlock.highest));
  }
  interlock.hysteresis = table.number_or("hysteresis", 0.0, {.at_least = 0.0, .at_most = largest});
  if (2.0 * interlock.hysteresis >= interlock.highest - interlock.lowest) {
    throw BadInput(table.place("hysteresis"), "no value would be inside the bounds again",
                   fmt::format("below {}", 0.5 * (interlock.highest - interlock.lowest)));
  }
  if (!interlock.with.empty()) return;
  require_can_trip(table, "lowest", channel, interlock.lowest);
  require_can_trip(table, "highest", channel, interlock.highest);
}

}  // namespace

Interlock interlock_from_table(const Settings& table, const Bench& bench) {
  Interlock interlock{};
  interlock.kind = kind_of(table);
  interlock.cause = table.text("cause");
  interlock.check = table.text_or("check", "");
  interlock.stop_category = table.integer_or("stop_category", 0, {.at_least = 0, .at_most = 2});
  read_response(table, interlock);
  const double shortest_s = interlock.kind == Kind::stuck ? bench.block_s : 0.0;
  const double hold_s =
      interlock.kind == Kind::stuck
          ? table.number("hold_s", {.at_least = shortest_s, .at_most = longest_hold_s})
          : table.number_or("hold_s", 0.0, {.at_least = 0.0, .at_most = longest_hold_s});
  interlock.hold_s = hold_s;
  switch (interlock.kind) {
    case Kind::bound:
      interlock.channel = table.text("channel");
      read_bounds(table, bench, interlock);
      break;
    case Kind::lost:
    case Kind::stuck:
      interlock.channel = judged_channel(table, "channel", bench).name;
      break;
    case Kind::clock:
      interlock.highest = table.number("highest_step_s", {.at_most = 3600.0, .above = 0.0});
      break;
    case Kind::disk:
      interlock.lowest = table.number("lowest_free_MB", {.at_most = 1e9, .above = 0.0});
      break;
  }
  return interlock;
}

}  // namespace windwright::bench
