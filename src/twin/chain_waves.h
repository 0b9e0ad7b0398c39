// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_period.h"
#include "physics/bridge_signals.h"
#include "physics/generator.h"
#include "physics/load_set.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace windwright::twin {

/// What one instrument for a waveform is connected to: a phase of the generator, or the inverter's
/// output.
struct ChainTap {
  enum class Place { bridge, inverter_voltage, inverter_current } place;
  physics::BridgeTap bridge;  // counts for a place there, but its bandwidth always
};

/// The generator on the DC voltage that the charge controller and the battery hold; without
/// current it is open, whatever its terminals show.
struct BridgeMoment {
  const physics::Generator& generator;
  double rotor_speed_rad_s;
  double dc_voltage_V;
  double dc_current_A;
  physics::BridgeFault fault;
};

/// The inverter's output and what hangs on it.
struct AcMoment {
  physics::AcOperation operation;                // while there is output
  std::span<const physics::SwitchedLoad> loads;  // of the chain: until it is asked again
  double burst_share;                            // of the time with output, physics/inverter.h
};

/// Waveforms of a bench with a battery, behind the lags of their instruments, a stretch at a time:
/// one period of each from the operating point in its middle, repeated. The inverter's clock runs
/// from the start of the simulation, so that nothing is kept from stretch to stretch. Bursts last
/// whole periods, spread as evenly as the golden section can: over n periods their share is right
/// to about 2 / n; their edges are not lagged. Allocates where the generator's phases are asked
/// for.
class ChainWaves {
 public:
  explicit ChainWaves(std::vector<ChainTap> taps);

  bool has_bridge() const;
  bool has_inverter() const;
  void renew_bridge(const BridgeMoment& moment);
  void renew_inverter(const AcMoment& moment);

  struct Samples {
    std::int64_t first;  // number of the first since the start
    double interval_s;
    std::span<const double> angle_rad;  // electrical, of each
  };
  /// @param waves  (taps), each as long as the angles
  void fill(const Samples& samples, std::span<const std::span<double>> waves) const;

 private:
  void blank(double first_turns, double step_turns, std::span<double> wave) const;

  std::vector<ChainTap> taps_;
  std::vector<physics::WaveTable> tables_;  // (taps), over the electrical angle; of the bridge
  std::vector<double> phases_;              // scratch: voltage and current of a, b, c
  std::unique_ptr<physics::AcPeriod> period_;
  double voltage_bandwidth_Hz_;
  double current_bandwidth_Hz_;
  bool running_ = false;  // the inverter
  double burst_share_ = 1.0;
};

}  // namespace windwright::twin
