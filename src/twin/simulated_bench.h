// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <string_view>

namespace windwright::twin {

enum class Pace { real_time, as_fast_as_possible };

/// Mean powers since the last reset of the tally, and what is stored: the energy balance of the
/// bench.
struct EnergyTally {
  double seconds;
  double wind_J;
  double rotor_J;      // aerodynamic work on the rotor
  double bearing_J;    // lost
  double iron_J;       // lost
  double winding_J;    // lost
  double rectifier_J;  // lost
  double load_J;       // into the load
  double kinetic_J;    // change of the rotor's kinetic energy
};

/// The bench as physics, sensor models and faults, behind the interface of real hardware. Same seed
/// and same calls, same counts. Draws its own true sensor errors, losses, radius and position
/// factor from the spreads that bench.toml states.
class SimulatedBench final : public bench::Device {
 public:
  /// @throws BadInput  the bench has no [simulation], or a channel no [channel.simulated]
  SimulatedBench(const bench::Bench& bench, Pace pace);
  ~SimulatedBench() override;

  const std::string& name() const override;
  double sample_rate_hz() const override;
  base::UtcTime now() const override;
  void set(std::string_view actuator, double value) override;
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override;
  std::string bookmark() const override;
  void return_to(std::string_view bookmark) override;

  /// True values now, by channel name, and `rotor_torque_N_m`, `air_density_kg_m3`, `wind_power_W`,
  /// `rotor_power_W`, `dc_power_W`, ...: what no sensor can see.
  std::map<std::string, double> truth() const;
  /// Lets time pass without samples.
  void advance(double seconds);
  EnergyTally energy() const;
  void reset_energy();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace windwright::twin
