// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::twin {

enum class FaultKind {
  blocked_fan,       // amount: share of the settled air speed that is lost
  worn_bearing,      // amount: factor on both bearing losses
  stuck_sensor,      // shows what it showed last, to the count
  drifted_sensor,    // amount: added to what it senses, in the channel's unit
  swapped_polarity,  // senses the quantity with the other sign
  loose_clamp        // amount: share of the current that is lost in the mean, flickering
};

/// Something that goes wrong on the simulated bench, for people to find.
struct Fault {
  FaultKind kind;
  std::string channel = {};  // of a sensor's fault
  double amount = 0.0;
  double over_s = 0.0;  // drift: grows evenly to its amount in that time
};

}  // namespace windwright::twin
