// SPDX-License-Identifier: Apache-2.0
#include "twin/plant_chain.h"

#include "physics/ac_supply.h"
#include "physics/battery.h"
#include "physics/bridge_table.h"
#include "physics/chain_control.h"
#include "physics/chain_loads.h"
#include "physics/electrical_chain.h"
#include "physics/inverter.h"
#include "physics/led_lamp.h"
#include "twin/chain_energy.h"
#include "twin/chain_states.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <variant>
#include <vector>

namespace windwright::twin {

PlantChain::PlantChain(const bench::BenchChain& chain, double sample_period_s)
    : setup_(chain.setup),
      healthy_(chain.setup.chain.battery),
      dc_loads_(chain.setup.dc_loads),
      ac_loads_(chain.setup.ac_loads),
      led_supply_(ac_loads_.size()) {
  double& controller_s = setup_.chain.controller.sample_period_s;
  samples_a_control_ = std::max<std::int64_t>(1, std::llround(controller_s / sample_period_s));
  controller_s = static_cast<double>(samples_a_control_) * sample_period_s;
  physics::require_setup(setup_);
  scratch_.resize(states());
  // The bridge's table is made when first asked for: here, not while it runs.
  static_cast<void>(physics::bridge_means({.voltage = 0.5, .resistance = 1.0, .reactance = 0.0}));
}

std::vector<double> PlantChain::tolerances() const {
  return state_tolerances(healthy_, states() - battery_states);
}

double PlantChain::state_of_charge(const ChainMotion& motion) const {
  return physics::state_of_charge(physics::with_fault(healthy_, motion.battery_fault),
                                  motion.battery);
}

double PlantChain::battery_store_J(const ChainMotion& motion) const {
  return physics::stored_energy_J(physics::with_fault(healthy_, motion.battery_fault),
                                  motion.battery);
}

ChainMotion PlantChain::at_start(double state_of_charge, double room_temperature_K) const {
  ChainMotion motion;
  motion.battery = physics::rested_state(healthy_, state_of_charge, room_temperature_K);
  motion.control = physics::control_at_start(setup_);
  const auto cold = [&](physics::SwitchedLoad load) {
    load.state.temperature_K = room_temperature_K;
    return physics::moving_value(load);
  };
  for (const physics::SwitchedLoad& each : dc_loads_)
    motion.dc_moving.push_back(cold(each));
  for (const physics::SwitchedLoad& each : ac_loads_)
    motion.ac_moving.push_back(cold(each));
  return motion;
}

void PlantChain::connect(const ChainMotion& motion, const physics::Generator& generator,
                         bool fuse_blown) {
  setup_.chain.generator = generator;
  setup_.chain.bridge_fault = motion.bridge_fault;
  setup_.chain.battery = physics::with_fault(healthy_, motion.battery_fault);
  physics::connect_loads(setup_, motion.control, dc_loads_, ac_loads_);
  positions_ = physics::positions(motion.control);
  if (fuse_blown) {
    positions_.controller.source_share = 0.0;
    positions_.controller.short_circuited_share = 0.0;
    positions_.controller.output_current_limit_A = 0.0;
  }
  physics::forget(memory_);
}

void PlantChain::write_states(const ChainMotion& motion, std::span<double> y) const {
  twin::write_states(motion.battery, motion.dc_moving, motion.ac_moving, y);
}

void PlantChain::read_states(std::span<const double> y, ChainMotion& motion) const {
  twin::read_states(
      y, {.battery = motion.battery, .dc_moving = motion.dc_moving, .ac_moving = motion.ac_moving});
}

physics::ChainPoint PlantChain::point(double rotor_speed_rad_s, double room_temperature_K) const {
  return {.rotor_speed_rad_s = rotor_speed_rad_s,
          .battery = battery_,
          .dc_loads = dc_loads_,
          .ac_loads = ac_loads_,
          .room_temperature_K = room_temperature_K};
}

physics::ChainFlow PlantChain::flow(double rotor_speed_rad_s, std::span<const double> y,
                                    double room_temperature_K) {
  spread_states(y, battery_, dc_loads_, ac_loads_);
  return physics::electrical_flow(setup_.chain, positions_,
                                  point(rotor_speed_rad_s, room_temperature_K), memory_);
}

void PlantChain::fill_rates(const physics::ChainFlow& flow, std::span<double> dy) const {
  fill_state_rates(flow, memory_, dc_loads_, ac_loads_, dy);
}

ChainReading PlantChain::reading(const physics::ChainFlow& flow) const {
  return {.source_voltage_V = flow.source.dc_voltage_V,
          .source_current_A = flow.source.dc_current_A,
          .battery_voltage_V = flow.bus_voltage_V,
          .battery_current_A = flow.battery.current_A,
          .battery_temperature_K = battery_.temperature_K,
          .charge_current_A = flow.source.charge_current_A,
          .dump_current_A = flow.dump_current_A,
          .inverter_input_A = flow.inverter.dc_current_A,
          .inverter_output_rms_V = physics::rms_V(flow.ac_supply),
          .inverter_output_rms_A = flow.ac.rms_current_A,
          .inverter_output_W = flow.inverter.ac_power_W};
}

namespace {

bool is_same(const physics::AcSupply& a, const physics::AcSupply& b) {
  return a.kind == b.kind && a.peak_V == b.peak_V && a.pulse_share == b.pulse_share &&
         a.frequency_Hz == b.frequency_Hz;
}

}  // namespace

AcMoment PlantChain::ac_moment(const physics::ChainFlow& flow) {
  AcMoment moment{.operation = {.supply = flow.ac_supply,
                                .ripple = {},
                                .dc_voltage_V = flow.bus_voltage_V,
                                .dc_current_A = flow.inverter.dc_current_A,
                                .dc_ripple_share = 0.0},
                  .loads = ac_loads_,
                  .burst_share = 1.0};
  if (!(flow.ac_supply.peak_V > 0.0)) return moment;
  const physics::Inverter& inverter = *setup_.chain.inverter;
  const double steady_V = std::max(flow.bus_voltage_V, physics::lowest_steady_V(inverter));
  const physics::AcSupply supply = physics::output(inverter, steady_V);
  moment.operation.supply = supply;
  moment.operation.ripple = physics::carrier_ripple(inverter, steady_V);
  moment.operation.dc_ripple_share = inverter.dc_ripple_share;
  moment.burst_share = physics::burst_share(inverter, flow.bus_voltage_V);
  for (std::size_t i = 0; i < ac_loads_.size(); ++i) {
    const auto* lamp = std::get_if<physics::LedLamp>(&ac_loads_[i].load);
    if (lamp == nullptr || !ac_loads_[i].on || is_same(led_supply_[i], supply)) continue;
    ac_loads_[i].state.capacitor_J = physics::settled_capacitor_J(*lamp, supply);
    led_supply_[i] = supply;
  }
  return moment;
}

void PlantChain::sample(double rotor_speed_rad_s, double room_temperature_K, bool controller_due,
                        double period_s, ChainMotion& motion) {
  std::vector<double>& y = scratch_;
  write_states(motion, y);
  const physics::ChainFlow now = flow(rotor_speed_rad_s, y, room_temperature_K);
  if (controller_due) physics::sample_controller(setup_, now, motion.battery, motion.control);
  const double apparent_VA = physics::connected_VA(
      setup_.chain, now, point(rotor_speed_rad_s, room_temperature_K), memory_);
  physics::sample_protection(setup_, now, apparent_VA, period_s, motion.control);
}

void PlantChain::change_battery_fault(const physics::BatteryFault& fault,
                                      ChainMotion& motion) const {
  const physics::Battery before = physics::with_fault(healthy_, motion.battery_fault);
  const double before_J = physics::stored_energy_J(before, motion.battery);
  // What a weaker cell cannot hold a real one gave off over weeks before: here it goes at once and
  // heats nothing. When it is well again it comes back without charge.
  if (fault.lost_capacity > motion.battery_fault.lost_capacity) {
    const physics::BatteryFault added{.lost_capacity =
                                          1.0 - (1.0 - fault.lost_capacity) /
                                                    (1.0 - motion.battery_fault.lost_capacity)};
    motion.battery = physics::state_with_fault(before, added, motion.battery);
  }
  motion.battery_fault = fault;
  const double lost_J =
      before_J - physics::stored_energy_J(physics::with_fault(healthy_, fault), motion.battery);
  motion.energies[ChainPart::battery_chemical] += lost_J;
  motion.energies[ChainPart::battery_fault_loss] += lost_J;
}

}  // namespace windwright::twin
