// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/tap.h"

#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {

/// Keeps a logbook readable while something chatters: an event that says the same as one before it,
/// within a minute of the first, is shelved and counted, and comes out as one line when the minute
/// is over. What latches, unlatches or frames a session is never shelved. Pure: time is passed in.
/// Source: shelving and chattering alarms after ISA-18.2 practice (from memory); the minute is
/// common practice, no source.
class EventShelf {
 public:
  struct Line {
    std::string event;
    std::string text;
  };
  /// @return  what is to be written now, in order
  std::vector<Line> take(std::string_view event, const std::string& text, Instant now);
  /// What has been on the shelf long enough; call it now and then, and with `all` at the end.
  std::vector<Line> look(Instant now, bool all = false);

 private:
  struct Shelved {
    Instant since;
    int times = 0;
  };
  std::map<std::pair<std::string, std::string>, Shelved> shelf_;
};

}  // namespace windwright::guard
