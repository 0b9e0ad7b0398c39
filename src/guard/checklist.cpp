// SPDX-License-Identifier: Apache-2.0
#include "guard/checklist.h"

#include "bench/bench.h"

#include <vector>

namespace windwright::guard {

std::vector<ChecklistStep> start_of_session() {
  constexpr bool battery_only = true;
  constexpr bool always = false;
  return {
      {"person_in_charge", "Name who is in charge and who stays within reach of the emergency stop",
       "somebody has to see and hear the bench; a screen elsewhere does not", always},
      {"isolated",
       "Isolate the fan, lock it off, wait for standstill; only then open a battery's switch",
       "what follows needs hands near the rotor; a wind from anywhere turns it and its generator "
       "gives voltage",
       always},
      {"rotor",
       "Look at blades, roots, hub and nut; turn the rotor by hand; compare blade count and pitch "
       "with the plan",
       "a crack or a loose nut is a blade that flies", always},
      {"tunnel", "Look into the tunnel and at the inlet screen: nothing loose, nothing forgotten",
       "the fan draws in what lies about and throws it at the rotor", always},
      {"wiring",
       "Look at leads, terminals, fuse and its rating; keep rheostat and lamps clear of what burns",
       "a fuse that is too large does not protect; loads get hot enough to burn skin and paper",
       always},
      {"battery",
       "Ventilate the battery; cover its terminals; take off metal jewellery; use insulated tools; "
       "eye protection",
       "charging makes hydrogen; a short drives hundreds of amperes and throws acid", battery_only},
      {"inverter",
       "Take the inverter's output from its fixed socket and residual-current device only; press "
       "its test button once there is power",
       "it is mains voltage, whatever feeds it", battery_only},
      {"guard_closed",
       "Close and lock the guard around the plane of rotation; nobody in that plane, before or "
       "behind the jet",
       "blades leave in their plane, and along the stream", always},
      {"hearing_and_clothes",
       "Hearing protection where local limits ask for it; nothing loose worn",
       "fan and blade tips are loud for hours; hair and lanyards are drawn in", always},
      {"power_on", "Unlock, switch on; the fan stays at rest until it is asked",
       "a fan that starts by itself here has a fault in its drive or its wiring", always},
      {"sensors",
       "Run windwright ready --prove-interlocks: certificates, check standards, every interlock "
       "seen to trip",
       "an interlock sees no more than its sensor, and one that never tripped is a hope", always},
      {"cover_switch",
       "With the fan at rest, open the guard, stand clear and ask for the lowest speed: no start; "
       "close it, reset",
       "the switch works, and against the computer's wish", always},
      {"load", "Connect the load before the fan first turns",
       "the safe state is fan off and load on: without load the rotor runs away", always},
      {"announce", "Say aloud that the fan starts, now and every time; take the lowest speed",
       "people step back", always},
      {"emergency_stop",
       "Press the emergency stop: the fan loses power; release it: the fan stays off; reset, go on",
       "this works without any program, or nothing else counts", always},
      {"watchdog",
       "End the program or pull the link: the device switches the fan off by itself; reset, go on",
       "when the computer dies, the device's watchdog is what is left besides the emergency stop",
       always},
      {"guard_process", "Start the guard process where the bench has one; see that it is content",
       "acquisition must not be the only one that watches", always},
      {"run_up", "Go up in steps; see that the load carries current; listen and feel for vibration",
       "imbalance and a lost load show before they break anything", always},
  };
}

std::vector<ChecklistStep> start_of_session(const bench::Bench& bench) {
  std::vector<ChecklistStep> steps = start_of_session();
  if (!bench.chain) {
    std::erase_if(steps, [](const ChecklistStep& step) { return step.battery_only; });
  }
  return steps;
}

}  // namespace windwright::guard
