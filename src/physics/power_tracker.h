// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <variant>
#include <vector>

namespace windwright::physics {

/// What a tracker measures on the side of the generator's rectifier.
struct TrackerReading {
  double input_voltage_V;
  double input_current_A;
  double frequency_Hz;  // electrical, of one phase
};

/// What the converter is asked to hold at its input; one of the two.
struct TrackerDemand {
  std::optional<double> input_voltage_V;
  std::optional<double> input_current_A;
};

/// Hill climbing: the demanded voltage goes a step; if the power fell, the next step goes back. It
/// never rests: around the maximum it visits three or four neighbouring steps. A rotor stores
/// energy in its speed, so a step must be held until the speed has followed (hold_s), or the power
/// taken out of the inertia misleads it. docs/theory/charge_control.md.
struct PerturbAndObserve {
  double step_V;    // above 0
  double lowest_V;  // below highest_V
  double highest_V;
  double hold_s;  // of each demand
};

/// The demand as a function of what is measured, straight between its points and constant beyond
/// its ends: one key and one demand, the other two columns left empty. It does not hunt, and is as
/// good as the rotor's curve it was made from.
struct TrackingTable {
  std::vector<double> frequency_Hz;      // key, ascending, at least two; or
  std::vector<double> input_voltage_V;   // key
  std::vector<double> demand_voltage_V;  // as many as keys; or
  std::vector<double> demand_current_A;
};

using TrackingMethod = std::variant<PerturbAndObserve, TrackingTable>;

/// What perturb-and-observe remembers.
struct TrackerState {
  double demand_V = 0.0;
  double power_W = 0.0;  // at the end of the demand before
  double direction = 1.0;
  double held_s = 0.0;
  bool started = false;
};

struct TrackerStep {
  TrackerState state;
  TrackerDemand demand;
};

/// One sample of either method. Perturb-and-observe starts at the voltage it finds.
/// @param elapsed_s  since the sample before, above 0
/// @throws BadInput  a method outside its domain
TrackerStep tracker_step(const TrackingMethod& method, const TrackerState& state,
                         const TrackerReading& reading, double elapsed_s);

/// Losses of the tracker's step-down converter over its output current I: no-load (control, gate
/// drive, core) + constant drop (diode or body diode) times I + series resistance times I^2. Common
/// practice, no source; efficiency has its maximum at I = sqrt(no_load_W / series_ohm).
struct Converter {
  double no_load_W;   // not negative
  double drop_V;      // not negative
  double series_ohm;  // not negative
};

struct ConverterFlow {
  double output_current_A;
  double slope_A_V;  // d(output current)/d(output voltage) at constant input power, not positive
  double output_power_W;
  double loss_W;  // input power = output power + loss
  double efficiency;
};

/// Output at an input power; explicit. What does not reach the no-load loss is all lost. A
/// step-down converter passes nothing where the input voltage is below output_voltage_V + drop_V:
/// that is the caller's to see.
/// @param input_power_W     not negative
/// @param output_voltage_V  above 0
/// @throws BadInput         outside these domains
ConverterFlow converter_flow(const Converter& converter, double input_power_W,
                             double output_voltage_V);

}  // namespace windwright::physics
