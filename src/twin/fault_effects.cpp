// SPDX-License-Identifier: Apache-2.0
#include "twin/fault_effects.h"

#include "bench/bench.h"
#include "physics/battery.h"
#include "physics/bridge_cycle.h"
#include "twin/fault.h"
#include "twin/hard_wired_state.h"

#include <cstddef>

namespace windwright::twin {
namespace {

// Which contact or wire of the hard-wired chain; nothing of another fault.
bool HardWiredState::* part_of_chain(FaultKind kind) {
  switch (kind) {
    case FaultKind::pressed_emergency_stop:
      return &HardWiredState::emergency_stop_pressed;
    case FaultKind::open_cover:
      return &HardWiredState::cover_open;
    case FaultKind::blown_fuse:
      return &HardWiredState::fuse_blown;
    case FaultKind::broken_loop_wire:
      return &HardWiredState::wire_broken;
    case FaultKind::bridged_loop:
      return &HardWiredState::bridged;
    case FaultKind::welded_contactor:
      return &HardWiredState::welded;
    default:
      return nullptr;
  }
}

std::size_t actuator_index(const bench::Bench& bench, const Fault& fault) {
  return static_cast<std::size_t>(&bench.actuator(fault.actuator) - bench.actuators.data());
}

}  // namespace

void begin_fault(const Fault& fault, const FaultSite& site) {
  if (const auto part = part_of_chain(fault.kind)) return site.plant.set_hard_wired(part, true);
  switch (fault.kind) {
    case FaultKind::blocked_fan:
      return site.plant.block_fan(fault.amount);
    case FaultKind::worn_bearing:
      return site.plant.wear_bearing(fault.amount);
    case FaultKind::loose_blade:
      return site.plant.loosen_blade(fault.amount);
    case FaultKind::stuck_actuator:
      return site.plant.stick_actuator(actuator_index(site.bench, fault), true);
    case FaultKind::dead_limits:
      return site.plant.set_limits_dead(true);
    case FaultKind::open_phase:
      return site.plant.set_bridge_fault(physics::BridgeFault::open_phase);
    case FaultKind::shorted_diode:
      return site.plant.set_bridge_fault(physics::BridgeFault::shorted_diode);
    case FaultKind::sulphated_cell:
      return site.plant.set_battery_fault({.sulphated_cells = 1,
                                           .resistance_factor = fault.amount,
                                           .lost_capacity = fault.lost_share});
    default:
      return site.sensors[site.bench.channel_index(fault.channel)].start_fault(fault, site.sample);
  }
}

void end_fault(const Fault& fault, const FaultSite& site) {
  if (const auto part = part_of_chain(fault.kind)) return site.plant.set_hard_wired(part, false);
  switch (fault.kind) {
    case FaultKind::blocked_fan:
      return site.plant.block_fan(0.0);
    case FaultKind::worn_bearing:
      return site.plant.wear_bearing(1.0);
    case FaultKind::loose_blade:
      return site.plant.loosen_blade(0.0);
    case FaultKind::stuck_actuator:
      return site.plant.stick_actuator(actuator_index(site.bench, fault), false);
    case FaultKind::dead_limits:
      return site.plant.set_limits_dead(false);
    case FaultKind::open_phase:
    case FaultKind::shorted_diode:
      return site.plant.set_bridge_fault(physics::BridgeFault::none);
    case FaultKind::sulphated_cell:
      return site.plant.set_battery_fault({});
    default:
      return site.sensors[site.bench.channel_index(fault.channel)].end_fault();
  }
}

}  // namespace windwright::twin
