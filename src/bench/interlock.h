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
  int stop_category = 0;    // IEC 60204-1: 0 power off at once, 1 controlled, then off, 2 stays on
  std::string cause = {};   // in words
  std::string check = {};   // what to look at next; may be in `cause`

  bool judges(std::string_view some_channel) const {
    return channel == some_channel || with == some_channel;
  }
};

}  // namespace windwright::bench
