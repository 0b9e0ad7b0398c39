// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/load_flow.h"

#include <complex>

namespace windwright::physics {

/// What turns with a motor. Friction is Coulomb's and passes through 0 linearly within 1 rad/s of
/// standstill, so that rates stay continuous; there a motor too weak to start creeps.
struct Shaft {
  double inertia_kg_m2;  // above 0
  double friction_N_m;   // bearings and brushes: becomes heat
  double driven_N_m_s2;  // torque per square of speed: fan, or pump without static head
};

/// Permanent-magnet DC motor: V = constant_V_s speed + winding_ohm I + brush drop, torque =
/// constant_V_s I. No inductance: currents answer at once. Starts with V / winding_ohm.
/// Source: Fitzgerald, Kingsley, Umans, Electric Machinery, 6th ed., section 7.7. Checked in
/// tests/published/dc_motor_test.cpp.
struct DcMotor {
  double constant_V_s;
  double winding_ohm;   // at its working temperature (conductor_resistance_ohm), above 0
  double brush_drop_V;  // both brushes; less than that drives no current
  Shaft shaft;
};

/// Fan on a capacitor-run induction motor, seen from its supply as one phase of the equal
/// two-phase machine: stator_ohm in series with the magnetising reactance beside rotor_ohm / slip
/// and the leakage. For harmonics the rotor stands (slip 1) and their mean torque is left out.
/// Limits: no torque pulsation at twice the frequency, no saturation, no iron loss; a shaded-pole
/// or split-phase motor starts with less torque. Source: Fitzgerald, Kingsley, Umans, Electric
/// Machinery, 6th ed., ch. 6 and 9 (from memory).
struct AcFan {
  double stator_ohm;
  double magnetising_H;
  double leakage_H;  // stator and rotor together, on the rotor's side
  double rotor_ohm;  // referred to the stator
  int pole_pairs;
  Shaft shaft;
};

/// @throws BadInput  inertia, winding, magnetising_H, leakage_H, rotor_ohm not above 0, or others
/// below 0
void check(const DcMotor& motor);
void check(const AcFan& fan);

/// Driven back through its shaft, the motor gives current to the bus (negative).
DcFlow motor_dc_flow(const DcMotor& motor, double speed_rad_s, double voltage_V);

/// The speed at which the DC motor keeps turning; 0 where it does not start.
/// @param voltage_V  0 or more
double settled_speed_rad_s(const DcMotor& motor, double voltage_V);

AcFlow fan_ac_flow(const AcFan& fan, double speed_rad_s, const AcSupply& supply);

/// RMS current per RMS volt of one order: 1, 3, 5, ...
std::complex<double> fan_admittance_S(const AcFan& fan, double speed_rad_s, double frequency_Hz,
                                      int order);

/// Switched off: the shaft runs down.
struct ShaftFlow {
  double friction_W;
  double driven_W;
  double stored_W;
  double speed_rad_s2;
};
/// @param torque_N_m  from the motor
ShaftFlow shaft_flow(const Shaft& shaft, double speed_rad_s, double torque_N_m);

}  // namespace windwright::physics
