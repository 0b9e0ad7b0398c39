// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/bridge_cycle.h"
#include "physics/generator.h"

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::physics {

/// Samples of one phase, equally many of both.
struct PhaseSamples {
  std::span<double> voltage_V;  // phase terminal to star point
  std::span<double> current_A;  // out of the generator
};

/// Phase voltages and currents over time at one operating point: what fast samplers between
/// generator and bridge see. Made once (some ten microseconds), then evaluated from the exact arcs
/// by recurrences, a few nanoseconds a sample. Speed and voltage that vary slowly against an
/// electrical period are followed by making a new one for every block: quasi-steady, so what takes
/// place within a period of a change is left out (physics/bridge_transient.h has that).
/// Angles are electrical, as in bridge_cycle.h, and advance whichever way the rotor turns.
class BridgeWaveform {
 public:
  /// DC terminals held at a voltage. @throws BadInput  as generator_on_voltage
  static BridgeWaveform on_voltage(const Generator& generator, double rotor_speed_rad_s,
                                   double dc_voltage_V, BridgeFault fault = BridgeFault::none);
  /// A smooth direct current, as generator_load gives it; beyond the short circuit's it is that.
  static BridgeWaveform on_current(const Generator& generator, double rotor_speed_rad_s,
                                   double dc_current_A);

  /// @param phase  0 is a, 1 b, 2 c
  PhaseSample sample(std::size_t phase, double electrical_angle_rad) const;

  /// Consecutive samples of all three phases, as many as the shortest span holds; empty spans of a
  /// phase leave it out.
  /// @param first_rad  electrical angle of the first sample
  /// @param step_rad   from sample to sample, 0 or more
  /// @return           the angle of the sample after the last, for the next block
  double fill(double first_rad, double step_rad, const std::array<PhaseSamples, 3>& phases) const;

  const BridgeCycle& cycle() const { return cycle_; }

 private:
  BridgeWaveform(BridgeCycle cycle, double emf_peak_V, double diode_resistance_ohm);

  /// voltage = steady + cosine cos + sine sin + diode_resistance_ohm current
  std::vector<std::array<Sinusoid, 3>> terminal_V_;  // (arcs)
  BridgeCycle cycle_;
  double diode_resistance_ohm_;
};

}  // namespace windwright::physics
