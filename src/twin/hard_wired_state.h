// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>

namespace windwright::twin {

/// The hard-wired chain of bench::HardWired at one moment: a supply, the normally closed contacts
/// of emergency stop, cover switch and fuse in series, and the coil of the fan's contactor, which
/// drops out in no time here (some 20 ms on a real one: common practice, no source).
struct HardWiredState {
  bool emergency_stop_pressed = false;
  bool cover_open = false;
  bool fuse_blown = false;   // the DC circuit, too
  bool wire_broken = false;  // between supply and first contact
  bool bridged = false;      // a wire from the supply to the coil: the contacts have no say
  bool welded = false;       // the contactor stays in, with or without its coil
  bool released = false;     // by the device's own relay in the chain
  bool pulled_in = true;     // the contactor

  /// Whether the supply's voltage stands at the taps behind each contact.
  std::array<bool, 3> closed() const {
    const bool supplied = bridged || !wire_broken;
    const bool first = supplied && (bridged || !emergency_stop_pressed);
    const bool second = first && (bridged || !cover_open);
    return {first, second, second && (bridged || !fuse_blown)};
  }
  /// To be called when anything has changed. Out at once; in again only while the fan is commanded
  /// to stand, so that closing the chain starts nothing.
  void settle(bool fan_commanded) {
    if (!closed().back() || (released && !bridged)) {
      pulled_in = false;
    } else if (!fan_commanded) {
      pulled_in = true;
    }
  }
  /// What the device's own relay in the chain does when it makes the bench safe: it takes the power
  /// of a fan that does not obey away, and what brakes stays on.
  void release() { released = true; }
  /// Something is commanded that needs power: the relay lets go of a fan that is commanded to
  /// stand.
  void hold(bool fan_commanded) {
    if (!fan_commanded) released = false;
  }
  bool has_fan_power() const { return pulled_in || welded; }
  /// The brake hangs on the contactor's own mirror contact.
  bool brakes() const { return !has_fan_power(); }
};

}  // namespace windwright::twin
