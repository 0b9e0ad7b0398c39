// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/charge_controller.h"
#include "physics/electrical_chain.h"
#include "physics/inverter_protection.h"
#include "physics/load_set.h"
#include "physics/mains_charger.h"

#include <cstdint>
#include <span>
#include <vector>

namespace windwright::physics {

/// An electrical chain with its loads and their selectors, as a bench carries it.
struct ChainSetup {
  ElectricalChain chain;
  std::vector<SwitchedLoad> dc_loads;  // at most 32, cold and at rest; behind the controller's
                                       // low-voltage disconnect
  std::vector<SwitchedLoad> ac_loads;  // at most 32; at the inverter's output
  Selector dc_selector{.positions = {0}, .contact = Contact::break_before_make, .transfer_s = 0.0};
  Selector ac_selector{.positions = {0}, .contact = Contact::break_before_make, .transfer_s = 0.0};
};

/// All that electronics and switches remember; nothing of it changes between samples but by hand.
struct ChainControl {
  ControllerState controller;
  ControllerOutput output;  // held until the next sample
  bool mains_on = false;
  MainsChargerState mains;
  bool inverter_on = false;  // its hand switch
  InverterState inverter;
  SelectorState dc_selector;
  SelectorState ac_selector;
  std::int64_t inverter_stops = 0;  // by a limit
};

/// @throws BadInput  a part outside its domain, loads on the wrong side, a selector for others
void require_setup(const ChainSetup& setup);

ChainControl control_at_start(const ChainSetup& setup);
ChainPositions positions(const ChainControl& control);

/// Sets which loads are on: the selectors' positions, and the low-voltage disconnect.
void connect_loads(const ChainSetup& setup, const ChainControl& control,
                   std::span<SwitchedLoad> dc_loads, std::span<SwitchedLoad> ac_loads);

/// A sample of charge controller and mains charger, sample_period_s after the one before.
void sample_controller(const ChainSetup& setup, const ChainFlow& flow, const BatteryState& battery,
                       ChainControl& control);

/// A sample of the inverter's protection, and of selectors on their way.
/// @param apparent_VA  of connected_VA
void sample_protection(const ChainSetup& setup, const ChainFlow& flow, double apparent_VA,
                       double step_s, ChainControl& control);

/// A person turns the mains charger on, which begins anew, or off.
void switch_mains(bool on, ChainControl& control);

}  // namespace windwright::physics
