// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <string_view>

namespace windwright::bench {

struct Actuator;
class Device;

/// Actuators that are switched off (0), in this order, to bring a bench to its safe state.
inline constexpr std::array<std::string_view, 3> switched_off{"fan_pct", "inverter_switch",
                                                              "mains_charger_switch"};
/// Must not stay at its first position then, where no load is connected: a load keeps the rotor
/// from running away.
inline constexpr std::string_view load_selector = "load_selector";

/// The position that connects a load for sure: the rheostat, which also works without lamps, where
/// there is one.
double loaded_position(const Actuator& selector);

/// Brings a bench to its safe state when a scope ends, whatever ends it.
class SafeAtTheEnd {
 public:
  explicit SafeAtTheEnd(Device& device) : device_(&device) {}
  SafeAtTheEnd(const SafeAtTheEnd&) = delete;
  SafeAtTheEnd& operator=(const SafeAtTheEnd&) = delete;
  ~SafeAtTheEnd() { end(); }
  void end();
  /// Leaves it as it is after all.
  void leave() { device_ = nullptr; }

 private:
  Device* device_;
};

inline bool is_switched_off(std::string_view actuator) {
  return std::find(switched_off.begin(), switched_off.end(), actuator) != switched_off.end();
}

}  // namespace windwright::bench
