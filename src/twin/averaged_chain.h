// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/chain_control.h"
#include "physics/electrical_chain.h"
#include "physics/generator_heat.h"
#include "twin/chain_energy.h"

#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

namespace windwright::twin {

/// The rotor that drives the chain.
struct DrivingRotor {
  double inertia_kg_m2;
  /// Aerodynamic, at an air speed and a rotor speed, neither negative; smooth, pure, without
  /// allocation.
  std::function<double(double air_speed_m_s, double rotor_speed_rad_s)> torque_N_m;
};

/// Energies from the wind to the bus since the start; kinetic = rotor - bearing - iron - winding -
/// rectifier - chain[source]; where the generator's heat is described, bearing + iron + winding =
/// generator stored + generator to air.
struct LongRunEnergies {
  double rotor_J = 0.0;  // aerodynamic work
  double bearing_J = 0.0;
  double iron_J = 0.0;
  double winding_J = 0.0;
  double rectifier_J = 0.0;
  double generator_stored_J = 0.0;
  double generator_to_air_J = 0.0;
  ChainEnergies_J chain{};
};

/// Everything that the future depends on. Two chains with the same go on to the same bits.
struct LongRunState {
  double time_s = 0.0;
  std::int64_t samples = 0;  // of the protection since the start
  double air_speed_m_s = 0.0;
  double air_rise_m_s2 = 0.0;
  double kinetic_J = 0.0;  // the rotor's
  bool at_rest = true;     // sticks until its torque exceeds the generator's break-away torque
  physics::MachineTemperature machine{};
  physics::BatteryState battery{};
  std::vector<double> dc_moving;  // (DC loads): physics::moving_value
  std::vector<double> ac_moving;
  physics::ChainControl control;
  physics::BridgeFault bridge_fault = physics::BridgeFault::none;
  double step_s = 0.01;  // that the integration goes on with
  LongRunEnergies energies;
};

/// Rotor and electrical chain over hours, averaged over electrical periods and the controller's
/// pulses: the rotor in quasi-steady flow, no tunnel, no sensors. Runge-Kutta (runge_kutta.h) from
/// sample to sample of the electronics, with its energies as sums and the rotor's speed carried as
/// energy, so that every balance above closes to rounding, but the battery's: that its chemical
/// energy is what its states say holds to the integration's tolerance, as do loads that turn.
/// Samples: the protection's period, and at every so many of them the controller's; a rotor
/// breaks away and comes to rest at samples, too. docs/theory/electrical_chain.md.
class AveragedChain {
 public:
  /// @param room_temperature_K  of battery, loads and the air at the generator
  /// @param protection_period_s  of inverter and selectors; the controller's sample period is made
  ///                             a whole number of it by shortening it
  /// @throws BadInput  as physics::require_setup; a state not of this chain
  AveragedChain(physics::ChainSetup setup, DrivingRotor rotor, const physics::BatteryState& battery,
                double room_temperature_K, double protection_period_s);
  ~AveragedChain();
  AveragedChain(AveragedChain&& other) noexcept;

  const LongRunState& state() const;
  /// Of a chain described alike; without a description of heat its temperatures do not count.
  /// @throws BadInput  a state of other loads; temperatures as physics::generator_at
  void restore(const LongRunState& state);

  /// The generator warms from where it is on, room temperature at first; without a description it
  /// stays as it is. Losses and warmth take turns, a sample of the protection each: its
  /// temperatures move by millikelvins.
  /// @throws BadInput  as physics::heat_step
  void describe_heat(const physics::GeneratorHeat& heat);
  /// From now on; rises evenly.
  void set_wind(double air_speed_m_s, double rise_m_s2 = 0.0);
  void set_rotor_speed(double rotor_speed_rad_s);  // by hand: its energy is not accounted for
  void turn_dc_selector(std::size_t position);
  void turn_ac_selector(std::size_t position);
  void switch_inverter(bool on);
  void switch_mains_charger(bool on);
  void set_bridge_fault(physics::BridgeFault fault);

  /// Lets so many samples of the protection go by.
  void advance(std::int64_t samples);
  double sample_period_s() const;
  double rotor_speed_rad_s() const;
  physics::ChainFlow flow_now() const;
  /// Held by the loads, in joules above rest at room temperature.
  double dc_stored_J() const;
  double ac_stored_J() const;
  std::int64_t steps() const;  // of the integration, tried

 private:
  struct Model;
  std::unique_ptr<Model> model_;
};

}  // namespace windwright::twin
