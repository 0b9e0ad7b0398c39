// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "physics/air.h"
#include "physics/generator.h"
#include "physics/gust.h"
#include "physics/loads.h"
#include "twin/chain_waves.h"
#include "twin/energy_tally.h"
#include "twin/hard_wired_state.h"
#include "twin/plant_chain.h"
#include "twin/truth.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>

namespace windwright::twin {

/// Of the generator; steps at the grid points of the turbulence, with what its losses brought since
/// the one before. Kelvins stay at 0 where the bench says nothing of its heat.
struct MachineHeat {
  double winding_K = 0.0;
  double frame_K = 0.0;
  double winding_due_J = 0.0;  // lost since the last grid point
  double frame_due_J = 0.0;
};

/// Everything that the future of the plant depends on, besides bench and seed. Two plants with the
/// same state go on identically to the last bit.
struct PlantState {
  std::int64_t tick = 0;  // time since the start, in ticks of Plant
  double rotor_speed_rad_s = 0.0;
  double rotor_angle_rad = 0.0;  // 0 to 2 pi
  double mean_air_speed_m_s = 0.0;
  double turbulence = 0.0;       // at the last grid point, over its standard deviation
  double next_turbulence = 0.0;  // at the coming one; linear between them
  double lamp_temperature_K = 0.0;
  double lagging_inflow_m_s = 0.0;  // physics::InducedFlow
  double induced_air_speed_m_s = 0.0;
  bool at_rest = true;        // the rotor sticks; break-away ends it
  std::int64_t mounting = 0;  // times that blades were put on
  // Commands:
  double fan_pct = 0.0;
  std::int64_t load_selection = 0;  // a physics::LoadSelection
  double rheostat_ohm = 0.0;
  std::int64_t blades = 0;
  double pitch_rad = 0.0;  // as meant
  // The latest gust:
  std::int64_t gust_tick = 0;    // when it began
  std::int64_t gust_shape = 0;   // a physics::GustShape
  double gust_duration_s = 0.0;  // 0: none yet
  double gust_amplitude_m_s = 0.0;
  bool wind_imposed = false;  // the mean air speed follows a scenario instead of the fan
  double wind_rise_m_s2 = 0.0;
  // Faults:
  double fan_share = 1.0;            // of the air speed that the fan would bring
  double bearing_factor = 1.0;       // on both bearing losses
  double loose_at_tip_kg = 0.0;      // out of balance beyond what the bench's tower says
  HardWiredState hard_wired;         // stays whole on a bench without one
  std::int64_t stuck_actuators = 0;  // bits, by their place in the bench
  bool limits_dead = false;          // of the actuators
  MachineHeat machine;
  ChainMotion chain;  // of a bench with a battery
  EnergyTally tally{};
};

/// What moves, at one instant.
struct Motion {
  double rotor_speed_rad_s;
  double rotor_angle_rad;
  double air_speed_m_s;  // at the sensor, turbulence and gust included, not below 0
  double lamp_temperature_K;
};

/// What the sensors see of it.
struct PlantSample {
  Motion motion;
  double dc_voltage_V = 0.0;  // both 0 at rest
  double dc_current_A = 0.0;
  MachineHeat machine;
  ChainReading chain{};  // of a bench with a battery
};

/// Powers at one instant; rotor = bearing + iron + winding + rectifier + load + stored.
struct PowerFlow {
  double disc_air_speed_m_s;     // without the induced one
  double induced_air_speed_m_s;  // by the rotor, mean over the disc
  double wind_power_W;
  double rotor_torque_N_m;  // aerodynamic, also at rest
  double rotor_power_W;
  double stored_power_W;  // into the rotor's kinetic energy
  physics::GeneratorLoad generator;
  double load_resistance_ohm;  // infinity for none; the dump resistor of the chain included
  std::optional<physics::ChainFlow> chain;  // of a bench with a battery
};

/// The physics of the bench in time. Rotor speed and angle, mean air speed, filament temperature,
/// the induced flow (physics/dynamic_inflow.h, for the disc as a whole) and the energies are
/// integrated by CVODE (Adams, adaptive order and step, relative tolerance 1e-9; Hindmarsh et al.,
/// SUNDIALS, ACM TOMS 31 (2005)) from one turbulence grid point to the next; its root finding
/// catches the rotor coming to rest and breaking away. The integrator starts anew at every grid
/// point and command, so that the state is all it remembers. Theory:
/// docs/theory/simulated_bench.md.
class Plant {
 public:
  /// @param bench  must outlive the plant; has a [simulation]
  explicit Plant(const bench::Bench& bench);
  ~Plant();

  /// A tick is one sample, or a part of one where samples are more than 20 ms apart.
  double tick_s() const;
  std::int64_t ticks_per_sample() const;

  const PlantState& state() const;
  void restore(const PlantState& state);
  const Truth& truth() const;
  physics::Air air() const;  // of the room, now
  double density_kg_m3() const;
  /// As it is now: faults and temperature included.
  const physics::Generator& generator() const;

  void command_fan(double fan_pct);
  void command_load(physics::LoadSelection selection, double rheostat_ohm);
  /// Blows over sensor and disc from now on; one that still blows ends.
  void start_gust(const physics::Gust& gust);
  /// From now on the mean air speed at the sensor is this and rises evenly; the fan has no say any
  /// more. Turbulence and gusts come on top.
  void impose_wind(double air_speed_m_s, double rise_m_s2);
  void block_fan(double share_lost);
  void wear_bearing(double factor);
  void loosen_blade(double at_tip_kg);
  void stick_actuator(std::size_t actuator, bool stuck);
  void set_limits_dead(bool dead);
  void set_hard_wired(bool HardWiredState::* what, bool value);
  /// The device's own relay in the chain opens, until something is commanded that needs power.
  void release_contactor();
  void hold_contactor();
  /// Of the hub, as its RMS; 0 on a bench without [tower].
  double vibration_m_s2(double rotor_speed_rad_s) const;
  // Of a bench with a battery only:
  void turn_dc_selector(std::size_t position);
  void turn_ac_selector(std::size_t position);
  void switch_inverter(bool on);
  void switch_mains_charger(bool on);
  void set_bridge_fault(physics::BridgeFault fault);
  void set_battery_fault(const physics::BatteryFault& fault);
  double state_of_charge() const;
  double battery_store_J() const;
  ChainReading chain_reading(const PowerFlow& flow) const;  // of power_flow_now
  /// A person stops the rotor by hand, puts on other blades or sets their pitch, and lets go.
  void mount(std::int64_t blades, double pitch_rad, double duration_s);

  /// Lets up to `ticks` go by, at most to the next turbulence grid point. @return  how many went
  std::int64_t advance(std::int64_t ticks);
  /// In the last advance, `offset_s` after its start.
  PlantSample sample_after(double offset_s);
  /// Of a bench with a battery: the inverter's output in the last advance, about `offset_s` after
  /// its start.
  AcMoment ac_moment_after(double offset_s);
  Motion motion_now() const;
  PowerFlow power_flow_now() const;
  double true_pitch_rad() const;

  EnergyTally energy() const;
  void reset_energy();
  std::int64_t rate_calls() const;  // work of the integration since construction

  struct Model;

 private:
  std::unique_ptr<Model> model_;
};

}  // namespace windwright::twin
