// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "metrology/certificate.h"
#include "physics/gust.h"
#include "twin/fault.h"
#include "twin/simulated_bench.h"

#include <filesystem>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::twin {

struct ScenarioCommand {
  std::string actuator;
  double value;
};

struct ScenarioStep {
  double at_s;                            // since the start of the simulation
  std::vector<ScenarioCommand> commands;  // in the order of the file
};

struct ScenarioGust {
  double at_s;
  physics::Gust gust;
};

/// The mean air speed at the sensor, imposed in place of what the fan would bring.
struct WindPoint {
  double at_s;
  double air_speed_m_s;
};

struct ScenarioFault {
  double at_s;
  double until_s;
  Fault fault;
};

/// What happens on the simulated bench: docs/bench.md.
struct Scenario {
  std::vector<ScenarioStep> steps;       // by at_s ascending
  std::vector<ScenarioGust> gusts = {};  // the same; none overlaps the next
  /// By at_s ascending, linear between; two at one time are a step. Before the first the fan
  /// drives, after the last its speed stays.
  std::vector<WindPoint> wind = {};
  std::vector<ScenarioFault> faults = {};  // in any order
};

/// @throws BadInput  with file and line: not a scenario, or not one for this bench
Scenario scenario_from_file(const std::filesystem::path& file, const bench::Bench& bench);

/// What the bench shows and what is true, at one instant.
struct ScenarioRow {
  double time_s;
  std::vector<double> shown;  // (channels), from one sample of each sensor
  /// SimulatedBench::truth and the energies since the start under their names in EnergyTally.
  std::map<std::string, double> truth;
};

struct ScenarioPace {
  double seconds;       // rows to this, included
  double every_s;       // between rows; a whole number of samples
  double from_s = 0.0;  // of the first row
};

/// Plays a scenario. A change of blades takes its time; there are no rows during it, and a gust
/// that would begin meanwhile begins after it.
/// @param certificates  (channels); without one the ideal transfer of [channel.simulated] is taken
/// @throws BadInput     every_s is no whole number of samples
/// @throws DeviceFault  the bench refuses a command
void play(SimulatedBench& device, const bench::Bench& bench, const Scenario& scenario,
          const std::vector<std::optional<metrology::Certificate>>& certificates,
          const ScenarioPace& pace, const std::function<void(const ScenarioRow&)>& take);

}  // namespace windwright::twin
