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
  lost_sensor,     // the converter shows an end of its range; amount: below 0 the lower one
  noisy_sensor,    // amount: standard deviation that is added, in the channel's unit
  scaled_sensor,   // amount: factor on what it senses
  loose_blade,     // amount: mass at the tip, in kg, by which the rotor is out of balance
  stuck_actuator,  // stays as it is, whatever is commanded
  dead_limits,     // settings outside an actuator's limits are taken
  // Of a bench with a hard-wired chain; what opens it is no fault of the chain:
  pressed_emergency_stop,
  open_cover,
  blown_fuse,        // the DC circuit is open as well
  broken_loop_wire,  // between supply and first contact
  bridged_loop,      // contacts and wires of the chain have no say any more
  welded_contactor,  // the chain opens, but neither takes power away nor brakes
};

/// Something that goes wrong on the simulated bench, for people to find.
struct Fault {
  FaultKind kind;
  std::string channel = {};   // of a sensor's fault
  std::string actuator = {};  // of a stuck one
  double amount = 0.0;
  double over_s = 0.0;      // drift: grows evenly to its amount in that time
  double lost_share = 0.0;  // sulphated cell
};

}  // namespace windwright::twin
