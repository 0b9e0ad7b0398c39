// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// Permanent-magnet three-phase generator with diode bridge.
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
  double shaft_torque_N_m;  // that the rotor must supply: electromagnetic + iron + bearing
  double overlap_rad;       // commutation overlap angle
};

/// @param rotor_speed_rad_s    any; the torque opposes the motion
/// @param load_resistance_ohm  above 0; infinity is the open circuit
GeneratorLoad generator_load(const Generator& generator, double rotor_speed_rad_s,
                             double load_resistance_ohm);

/// What instruments between generator and bridge see at one instant.
struct PhaseSample {
  double voltage_V;  // phase terminal to star point
  double current_A;  // out of the generator
};
PhaseSample phase_sample(const Generator& generator, const GeneratorLoad& load,
                         double rotor_speed_rad_s, double electrical_angle_rad);

}  // namespace windwright::physics
