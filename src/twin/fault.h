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
  loose_clamp,       // amount: share of the current that is lost in the mean, flickering
  // Of a bench with a battery:
  open_phase,      // one line between generator and bridge carries no current
  shorted_diode,   // one diode of the bridge conducts both ways
  sulphated_cell,  // amount: factor on the resistance of one cell; lost_share: of its capacity
};

/// Something that goes wrong on the simulated bench, for people to find.
struct Fault {
  FaultKind kind;
  std::string channel = {};  // of a sensor's fault
  double amount = 0.0;
  double over_s = 0.0;      // drift: grows evenly to its amount in that time
  double lost_share = 0.0;  // sulphated cell
};

}  // namespace windwright::twin
