// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/bridge_cycle.h"

#include <array>
#include <optional>

namespace windwright::physics {

/// Permanent-magnet three-phase generator with diode bridge. docs/theory/electrical.md has every
/// equation with its source and limits.
struct Generator {
  int pole_pairs;
  double flux_linkage_V_s;        // peak phase back-EMF over electrical angular speed
  double winding_resistance_ohm;  // one phase
  double winding_inductance_H;    // one phase, commutating
  double diode_drop_V;            // one diode, threshold
  double diode_resistance_ohm;    // one diode, slope
  double bearing_torque_N_m;      // Coulomb friction
  double bearing_viscous_N_m_s;   // torque per rotor speed
  double iron_hysteresis_J;       // iron loss = iron_hysteresis_J omega_e + iron_eddy_J_s omega_e^2
  double iron_eddy_J_s;
  double cogging_torque_N_m;  // peak
};

/// @throws BadInput  a figure that has no meaning: no pole pair, no flux linkage, neither
///                   resistance nor inductance, one below 0 or not finite
void require_generator(const Generator& generator);

/// Powers and torques at one rotor speed with a resistance at the DC terminals; smooth direct
/// current, mean values over an electrical period. Closes exactly: electromagnetic = winding + AC
/// terminals, AC terminals = rectifier + DC.
struct GeneratorLoad {
  double dc_voltage_V;
  double dc_current_A;
  double dc_power_W;
  double rectifier_loss_W;
  double ac_power_W;  // at the generator's terminals
  double winding_loss_W;
  double electromagnetic_power_W;
  double iron_loss_W;
  double bearing_loss_W;
  double shaft_torque_N_m;    // that the rotor must supply: electromagnetic + iron + bearing
  double overlap_rad;         // commutation overlap angle
  double line_current_rms_A;  // of one phase
  double phase_emf_peak_V;    // back-EMF of one phase
  double electrical_rad_s;    // pole_pairs times rotor speed, with its sign
};

/// Sinusoidal back-EMF, smooth direct current, commutation through inductance and resistance of
/// winding and diode: overlap up to 60 degrees, then 60 degrees with a forced delay, then four
/// diodes in part until the bridge is short-circuited; exact (physics/bridge_cycle.h). Id solves
/// V(Id) = load_resistance_ohm Id; below the threshold of two diodes none flows, and the terminals
/// of an open circuit show what exceeds that threshold. Cogging has no mean and is left out. Limit:
/// where four diodes conduct, the slope of two diodes on one phase counts once.
/// @param rotor_speed_rad_s    any; the torque opposes the motion, and is 0 at standstill (see
///                             breakaway_torque_N_m)
/// @param load_resistance_ohm  above 0; infinity is the open circuit
/// @throws BadInput            load_resistance_ohm not above 0
/// Source: Witzke, Kresser, Dillard, Influence of AC reactance on voltage regulation of 6-phase
/// rectifiers, AIEE Trans. 72 (1953) 244; Kimbark, Direct Current Transmission I (1971), ch. 3
/// (both from memory; without resistance). Checked in tests/published/rectifier_test.cpp,
/// generator_test.cpp, and against a time-domain circuit in
/// tests/physics/bridge_transient_test.cpp.
GeneratorLoad generator_load(const Generator& generator, double rotor_speed_rad_s,
                             double load_resistance_ohm);

/// The same at a direct current that is given; beyond the short circuit's it is that, and the DC
/// voltage is below 0 where less than two diode drops is left.
/// @throws BadInput  a current that is below 0 or not finite
GeneratorLoad generator_at_current(const Generator& generator, double rotor_speed_rad_s,
                                   double dc_current_A);

/// The same machine with the DC terminals held at a voltage by a battery or a large capacitor.
struct VoltageLoad {
  GeneratorLoad load;         // overlap_rad is 0: not counted here
  double dc_current_slope_S;  // change of direct current with DC voltage, never positive
  std::array<double, 3> line_current_rms_A;  // phases a, b, c; load has the highest
};

/// Without a fault from the table of bridge_means (physics/bridge_table.h) in well under a
/// microsecond, with one from bridge_cycle itself (some ten microseconds). Closes exactly as
/// generator_load does.
/// @param rotor_speed_rad_s  any finite; the torque opposes the motion
/// @param dc_voltage_V       0 or more; 0 is a shunt controller that shorts the terminals
/// @throws BadInput          a negative voltage, a value that is not finite, or a machine without
///                           resistance and inductance, whose current nothing limits
VoltageLoad generator_on_voltage(const Generator& generator, double rotor_speed_rad_s,
                                 double dc_voltage_V, BridgeFault fault = BridgeFault::none);

/// The same with a resistance at the DC terminals and a capacitor across it, large enough to hold
/// the voltage over a sixth of a period: the voltage at which V = load_resistance_ohm I(V).
/// @param load_resistance_ohm  above 0; infinity leaves the capacitor at the peak of the line
///                             voltage less two diode drops
VoltageLoad generator_on_capacitor(const Generator& generator, double rotor_speed_rad_s,
                                   double load_resistance_ohm,
                                   BridgeFault fault = BridgeFault::none);

/// A worn bearing: both parts of its friction times a factor.
/// @throws BadInput  a factor below 1
Generator with_worn_bearing(Generator generator, double friction_factor);

/// The load resistance that makes the generator take up a torque; the highest one if there are two
/// (with high reactance, torque falls again towards the short circuit).
/// @return infinity where the open-circuit drag is just the torque; nothing where the drag exceeds
///         it, or even the most loading resistance does not reach it
std::optional<double> balancing_resistance_ohm(const Generator& generator, double rotor_speed_rad_s,
                                               double shaft_torque_N_m);

/// Torque below which a standing rotor does not start: peak cogging, Coulomb friction and the
/// hysteresis torque, none of which needs motion. Never less than the drag just after starting.
double breakaway_torque_N_m(const Generator& generator);

/// What instruments between generator and bridge see at one instant.
struct PhaseSample {
  double voltage_V;  // phase terminal to star point
  double current_A;  // out of the generator
};

/// @param load                 from generator_load of this generator at this rotor speed
/// @param electrical_angle_rad  any; the back-EMF of the phase is phase_emf_peak_V times its sine
///                             (turning backwards, minus that). Phases b and c: less 2 pi/3, 4 pi/3
/// Voltage is e - R i - L di/dt with the current of the conduction pattern. Many samples of one
/// operating point come faster from physics/bridge_waveform.h.
PhaseSample phase_sample(const Generator& generator, const GeneratorLoad& load,
                         double rotor_speed_rad_s, double electrical_angle_rad);

}  // namespace windwright::physics
