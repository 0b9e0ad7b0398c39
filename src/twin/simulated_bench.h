// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "physics/gust.h"
#include "twin/energy_tally.h"
#include "twin/fault.h"

#include <cstddef>
#include <limits>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::twin {

/// How fast simulated time goes by: so many times as fast as the world's.
struct Pace {
  double times = 1.0;  // above 0; infinite: as fast as this computer can
  bool operator==(const Pace&) const = default;
  static const Pace real_time;
  static const Pace as_fast_as_possible;
};
inline constexpr Pace Pace::real_time{1.0};
inline constexpr Pace Pace::as_fast_as_possible{std::numeric_limits<double>::infinity()};

/// The bench as physics and sensor models, behind the interface of real hardware. Same seed and
/// same calls, same counts. Draws its own true sensor errors, losses, radius and position factor
/// from the spreads that bench.toml states. It starts with the fan off, the rotor at rest with the
/// blades of rotor.toml, and no load connected.
///
/// Known inputs: see Sensor (twin/sensor.h). In short: a value that is one of the calibration
/// references stands for the day of calibration, so it carries the error of the reference standard
/// and no drift; the check standard's value carries that standard's error and the drift; anything
/// else the drift alone.
///
/// A change of blades or pitch takes 30 s of simulated time and is refused while the fan is
/// commanded to turn; the person stops the rotor by hand. Setting what is set already changes
/// nothing.
class SimulatedBench final : public bench::Device {
 public:
  /// @throws BadInput  the bench has no [simulation], or a channel no [channel.simulated]
  SimulatedBench(const bench::Bench& bench, Pace pace);
  ~SimulatedBench() override;

  const std::string& name() const override;
  double sample_rate_hz() const override;
  /// Simulated time: of the sample that comes next.
  base::UtcTime now() const override;
  /// @throws BadInput     no such actuator
  /// @throws DeviceFault  outside the actuator's limits, between positions, or blades under wind
  void set(std::string_view actuator, double value) override;
  /// Returns when the sensor has settled on the input, in no simulated time.
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  /// @throws DeviceFault  the bench has no hard-wired chain
  void ask_for(bench::HandAction action) override;
  std::optional<double> setting(std::string_view actuator) override;
  /// block_s of samples.
  void read(bench::SampleBlock& block) override;
  /// The same with another number of samples, at least 1.
  void read(bench::SampleBlock& block, std::size_t samples);
  /// Fan off; where no load was connected, the rheostat is. With a battery: inverter and mains
  /// charger off; the battery takes what the rotor still gives. Stuck actuators stay as they are,
  /// but with a hard-wired chain the contactor takes the power of a stuck fan away.
  void stop() noexcept override;
  /// One line; a fresh simulated bench of the same description goes on from it to the last bit.
  std::string bookmark() const override;
  /// @throws BadInput  not a bookmark, or of another bench or seed
  void return_to(std::string_view bookmark) override;

  /// True values now, by channel name, and what no sensor can see: tip_speed_ratio,
  /// disc_air_speed_m_s, induced_air_speed_m_s, air_density_kg_m3, wind_power_W, rotor_torque_N_m,
  /// rotor_power_W, stored_power_W, bearing_loss_W, iron_loss_W, electromagnetic_power_W,
  /// winding_loss_W, ac_power_W, rectifier_loss_W, dc_power_W, cp (rotor), electrical_cp (DC),
  /// lamp_temperature_K, pitch_deg, blade_count, tip_radius_m, position_factor; fan_contactor (1
  /// in, 0 out) of a bench with a hard-wired chain. rotor = bearing +
  /// iron + winding + rectifier + dc + stored. On a bench with a battery also the powers of
  /// twin/chain_energy.h with _W, and what its electronics are at: state_of_charge_pct,
  /// charge_stage, charge_target_V, source_share, dump_share, loads_connected, inverter_mode, and
  /// counts of switchings and stops.
  std::map<std::string, double> truth() const;
  /// A gust over sensor and disc, from now on.
  void start_gust(const physics::Gust& gust);
  /// Imposes the air speed at the sensor from now on, rising evenly; the fan has no say any more.
  void impose_wind(double air_speed_m_s, double rise_m_s2);
  /// @throws BadInput  a channel or actuator that this bench does not have
  void start_fault(const Fault& fault);
  void end_fault(const Fault& fault);
  /// Lets time pass without samples; the next block then has a gap before it.
  /// @param seconds  rounded to whole samples
  void advance(double seconds);
  EnergyTally energy() const;
  /// Of a bench with a battery, since the same reset, under the names of twin/chain_energy.h with
  /// _J, and battery_store_J, what it holds now; empty on others.
  std::map<std::string, double> chain_energy() const;
  void reset_energy();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace windwright::twin
