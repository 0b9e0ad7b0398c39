// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace windwright::physics {

enum class BridgeFault {
  none,
  open_phase,     // phase a carries no current
  shorted_diode,  // the upper diode of phase a conducts both ways: no threshold, slope as before
};

/// A three-phase source behind equal resistance and inductance, and six diodes that feed a direct
/// voltage, all at one electrical frequency. Angles are electrical; phase a's EMF is
/// emf_peak_V sin(angle), b and c follow 120 and 240 degrees later.
struct BridgeCircuit {
  double emf_peak_V;      // of one phase
  double resistance_ohm;  // of one phase with the slope of the diode that it feeds
  double reactance_ohm;   // omega_e L of one phase
  double dc_voltage_V;    // held by battery or capacitor; 0 is the short circuit
  double diode_drop_V;    // threshold of one diode
  BridgeFault fault = BridgeFault::none;
};

/// steady + cosine cos(angle) + sine sin(angle).
struct Sinusoid {
  double steady;
  double cosine;
  double sine;
};

/// A line between two diode events. With d the angle since the arc began and f = exp(-decay d) its
/// current is cosine_A cos(angle) + sine_A sin(angle) + fading_A f + rising_A (1 - f); drive_V is
/// EMF less terminal voltage (diode slope counted with the winding), which resistance and
/// inductance take up. An open line has zeros.
struct LineArc {
  double cosine_A;
  double sine_A;
  double fading_A;
  double rising_A;
  Sinusoid drive_V;
  int rail;  // +1 upper diode conducts, -1 lower, 0 none
};

struct BridgeArc {
  double begin_rad;
  double end_rad;
  std::array<LineArc, 3> line;  // phases a, b, c
};

enum class BridgeMode {
  none,            // no current at all
  discontinuous,   // pauses without current
  two_three,       // two diodes, three while a current passes from phase to phase
  three,           // three at every instant
  three_four,      // smooth current only: four in part, which short-circuits the bridge
  short_circuited  // smooth current only: four at every instant, no voltage left
};

/// One electrical period in the steady state, from arcs.front().begin_rad to that plus 2 pi, and
/// its means. `electromagnetic_W` = 3 phases' resistance loss + threshold loss + DC power exactly.
struct BridgeCycle {
  std::vector<BridgeArc> arcs;
  double decay;  // resistance over reactance, per radian
  BridgeMode mode;
  double dc_current_A;
  std::array<double, 3> line_current_rms_A;
  std::array<double, 3> line_current_mean_A;  // 0 without a fault
  double threshold_loss_W;                    // diode_drop_V times the current of each diode
  double electromagnetic_W;                   // mean power of the EMFs
};

/// Exact periodic solution for a stiff direct voltage: between diode events every line current is
/// sinusoid plus exponential; between the zeros of its drive it crosses zero once at most, so no
/// event is missed; the period closes by Newton's method with the derivative carried through the
/// events. Resistance and reactance below 1e-9 of the impedance count as 1e-9 of it.
/// @throws BadInput  a value that is not finite or below 0; neither resistance nor reactance
/// Source: Caliskan, Perreault, Jahns, Kassakian, Analysis of three-phase rectifiers with
/// constant-voltage loads, IEEE Trans. CAS-I 50 (2003) 1220 (modes; from memory).
/// Checked in tests/physics/bridge_cycle_test.cpp and tests/published/rectifier_test.cpp.
BridgeCycle bridge_cycle(const BridgeCircuit& circuit);

/// One line at any angle; phase 0 is a, 1 b, 2 c.
struct PhasePoint {
  double current_A;
  double drive_V;  // EMF less terminal voltage, diode slope counted with the winding
};
/// @param angle_rad  any
PhasePoint phase_point(const BridgeCycle& cycle, std::size_t phase, double angle_rad);

/// The same source and bridge with a smooth direct current.
struct SmoothBridge {
  double emf_peak_V;
  double resistance_ohm;  // of one phase with the diode that it feeds
  double reactance_ohm;
  double dc_current_A;  // 0 to emf_peak_V over the impedance, where no voltage is left
};

struct SmoothMeans {
  double bridge_voltage_V;    // mean, before the diodes' thresholds
  double line_current_rms_A;  // of one phase
  double overlap_rad;         // from the start of a commutation to its end
  BridgeMode mode;
};

/// Commutation with resistance, exact: up to 60 degrees of overlap, then 60 degrees with a forced
/// delay, then four diodes in part. Each mode is one or two closed arcs.
/// @throws BadInput  as bridge_cycle; a current beyond the short circuit's
/// Source: modes after Witzke, Kresser, Dillard, AIEE Trans. 72 (1953) 244 (from memory).
SmoothMeans smooth_bridge_means(const SmoothBridge& bridge);
BridgeCycle smooth_bridge_cycle(const SmoothBridge& bridge);

/// Its arcs alone, without a vector to allocate.
struct SmoothPeriod {
  std::array<BridgeArc, 12> arcs;
  std::size_t count;  // 1 without current, else 6 or 12
  double decay;       // as in BridgeCycle
};
SmoothPeriod smooth_bridge_period(const SmoothBridge& bridge);
/// What a resistance at its terminals draws.
struct SmoothLoad {
  double dc_current_A;
  double line_current_rms_A;
  double overlap_rad;
};
/// The current at which bridge voltage = threshold_V + load_resistance_ohm current, by Newton's
/// method for current and overlap together; several times as fast as a search over the voltage.
/// @param bridge  its dc_current_A is not looked at; an impedance above 0
/// @return        nothing where the overlap is above 48 degrees, a diode waits or there is next to
/// no
///                reactance: search there
std::optional<SmoothLoad> smooth_bridge_load(const SmoothBridge& bridge, double load_resistance_ohm,
                                             double threshold_V);
/// One of its figures alone, faster.
double smooth_bridge_voltage_V(const SmoothBridge& bridge);
PhasePoint smooth_bridge_point(const SmoothBridge& bridge, double angle_rad);  // of phase a

/// A line at an angle inside the arc.
double arc_current_A(const LineArc& line, const BridgeArc& arc, double decay, double angle_rad);
PhasePoint arc_point(const LineArc& line, const BridgeArc& arc, double decay, double angle_rad);

/// Integrals over an arc.
struct ArcIntegral {
  double current;  // A rad
  double square;   // A2 rad
};
ArcIntegral arc_integral(const LineArc& line, const BridgeArc& arc, double decay);

/// The arcs of a sixth of a period, continued to the whole by the bridge's symmetry: 60 degrees
/// later phase a does the opposite of what b did, b of c, c of a.
std::vector<BridgeArc> whole_period(std::span<const BridgeArc> sixth);
/// The same in place: the first sixth of the arcs is there already.
void complete_period(std::span<BridgeArc> arcs);

}  // namespace windwright::physics
