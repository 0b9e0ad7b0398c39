// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/chain_tables.h"
#include "physics/battery.h"
#include "physics/chain_control.h"
#include "physics/electrical_chain.h"
#include "physics/generator.h"
#include "twin/chain_energy.h"
#include "twin/chain_states.h"
#include "twin/chain_waves.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::twin {

/// What the electrical chain of a plant remembers; empty on a bench without a battery.
struct ChainMotion {
  physics::BatteryState battery{};
  std::vector<double> dc_moving;  // (DC loads): physics::moving_value
  std::vector<double> ac_moving;
  physics::ChainControl control;
  physics::BridgeFault bridge_fault = physics::BridgeFault::none;
  physics::BatteryFault battery_fault;
  ChainEnergies_J energies{};  // since the reset of the plant's energies
};

/// Whether there is a chain at all: a battery has a temperature.
inline bool is_there(const ChainMotion& motion) {
  return motion.battery.temperature_K > 0.0;
}

/// What sensors see of the chain, in the order of these names.
struct ChainReading {
  double source_voltage_V;
  double source_current_A;
  double battery_voltage_V;
  double battery_current_A;  // positive discharging
  double battery_temperature_K;
  double charge_current_A;  // from the controller into the bus
  double dump_current_A;
  double inverter_input_A;
  double inverter_output_rms_V;
  double inverter_output_rms_A;
  double inverter_output_W;
};

/// The electrical chain inside the plant: its states among those that CVODE integrates, its flows,
/// and the samples of its electronics.
class PlantChain {
 public:
  static constexpr std::size_t most_states = battery_states + 32;

  /// @param sample_period_s  of the protection; the controller's becomes a whole number of it
  /// @throws BadInput  as physics::require_setup
  PlantChain(const bench::BenchChain& chain, double sample_period_s);

  std::size_t states() const { return battery_states + dc_loads_.size() + ac_loads_.size(); }
  /// Absolute tolerances of the states for the integrator.
  std::vector<double> tolerances() const;
  double state_of_charge(const ChainMotion& motion) const;
  double battery_store_J(const ChainMotion& motion) const;
  ChainMotion at_start(double state_of_charge, double room_temperature_K) const;

  /// Takes over switches, faults and generator; to be called whenever one has changed, and at the
  /// start of every stretch.
  /// @param fuse_blown  between bridge and charge controller
  void connect(const ChainMotion& motion, const physics::Generator& generator, bool fuse_blown);
  void write_states(const ChainMotion& motion, std::span<double> y) const;
  void read_states(std::span<const double> y, ChainMotion& motion) const;

  /// @param y  (states())
  physics::ChainFlow flow(double rotor_speed_rad_s, std::span<const double> y,
                          double room_temperature_K);
  /// Rates of the states, of the flow just asked for.
  void fill_rates(const physics::ChainFlow& flow, std::span<double> dy) const;
  ChainReading reading(const physics::ChainFlow& flow) const;
  /// The inverter's output in the flow just asked for, and the loads there; LED lamps settled on
  /// it, as the flow has them.
  AcMoment ac_moment(const physics::ChainFlow& flow);

  /// Protection and selectors, `period_s` after the sample before; the controller too if it is due.
  void sample(double rotor_speed_rad_s, double room_temperature_K, bool controller_due,
              double period_s, ChainMotion& motion);
  /// How many samples of the protection make one of the controller.
  std::int64_t samples_a_control() const { return samples_a_control_; }

  /// A fault sets in or ends; the charge that is lost with it has an account of its own.
  void change_battery_fault(const physics::BatteryFault& fault, ChainMotion& motion) const;

  const physics::ChainSetup& setup() const { return setup_; }

 private:
  physics::ChainPoint point(double rotor_speed_rad_s, double room_temperature_K) const;

  physics::ChainSetup setup_;  // its battery with the fault
  physics::Battery healthy_;
  std::int64_t samples_a_control_ = 1;
  std::vector<physics::SwitchedLoad> dc_loads_;
  std::vector<physics::SwitchedLoad> ac_loads_;
  physics::BatteryState battery_{};
  physics::ChainPositions positions_{};
  physics::ChainMemory memory_;
  std::vector<physics::AcSupply> led_supply_;  // (AC loads), that an LED lamp was settled on
  std::vector<double> scratch_;                // (states())
};

}  // namespace windwright::twin
