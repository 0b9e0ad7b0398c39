// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

/// What stops the bench: a condition on a channel or on the computer, and how to stop.
struct Interlock {
  enum class Kind {
    bound,  // the value, as a mean over each block, leaves its bounds
    lost,   // the converter stands at either end of its range, or the value is not a number
    stuck,  // every sample is the same count
    clock,  // the device's time steps against its count of samples
    disk,   // the disk of the recording is nearly full
  };

  std::string name;
  Kind kind = Kind::bound;
  std::string channel = {};  // none for clock and disk
  /// The value judged is that of the channel less `factor` times that of this one, where there is
  /// one: two sensors that ought to agree.
  std::string with = {};
  double factor = 1.0;
  /// Trips outside; in the channel's unit. Of a clock `highest` is the largest step in s, of a disk
  /// `lowest` the least room in MB.
  double lowest = -std::numeric_limits<double>::infinity();
  double highest = std::numeric_limits<double>::infinity();
  double hysteresis = 0.0;  // so far inside the bounds the condition is gone again
  double hold_s = 0.0;      // so long it must last before it trips
  /// What comes of it if nobody acts, and how soon somebody has to: what asks for no action is no
  /// interlock but a line in a logbook. After ANSI/ISA-18.2 practice (from memory).
  enum class Consequence { injury, damage, lost_run };
  enum class Priority { high, medium, low };
  Consequence consequence = Consequence::damage;
  Priority priority = Priority::high;
  std::string respond = {};  // how soon, in words

  int stop_category = 0;   // IEC 60204-1: 0 power off at once, 1 controlled, then off, 2 stays on
  std::string cause = {};  // in words
  std::string check = {};  // what to look at next; may be in `cause`

  /// Where nothing else is said: the graver the consequence and the harder the stop, the higher.
  /// Source: common practice, no source.
  static Priority usual_priority(Consequence consequence, int stop_category) {
    if (consequence == Consequence::injury || stop_category == 0) {
      return consequence == Consequence::lost_run ? Priority::medium : Priority::high;
    }
    return consequence == Consequence::damage ? Priority::medium : Priority::low;
  }

  bool judges(std::string_view some_channel) const {
    return channel == some_channel || with == some_channel;
  }
};

/// As in bench.toml and logbooks.
constexpr std::string_view name(Interlock::Priority priority) {
  using enum Interlock::Priority;
  return priority == high ? "high" : priority == medium ? "medium" : "low";
}
constexpr std::string_view name(Interlock::Consequence consequence) {
  using enum Interlock::Consequence;
  return consequence == injury ? "injury" : consequence == damage ? "damage" : "lost_run";
}

}  // namespace windwright::bench
