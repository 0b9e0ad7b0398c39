// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <complex>

namespace windwright::signal {

/// What the power quantities of one phase are made of: means over whole cycles.
struct PowerParts {
  double voltage_rms_V;
  double current_rms_A;
  double active_power_W;
  double fundamental_voltage_V;  // RMS
  double fundamental_current_A;
  double fundamental_active_power_W;
  double fundamental_reactive_power_var;
};

/// Power quantities of one phase with distorted waveforms, IEEE Std 1459-2010, 3.1.2:
///
///   S = V I,  S1 = V1 I1,  SN^2 = S^2 - S1^2 = DI^2 + DV^2 + SH^2,
///   DI = V1 IH,  DV = VH I1,  SH = VH IH,  VH^2 = V^2 - V1^2,  IH^2 = I^2 - I1^2,
///   PH = P - P1,  DH^2 = SH^2 - PH^2,  N^2 = S^2 - P^2,  PF = P / S,  PF1 = P1 / S1.
///
/// VH and IH hold all that is not fundamental: harmonics of any order, what lies between them, mean
/// and noise. Checked in tests/published/power_terms_test.cpp.
struct PowerTerms {
  double apparent_power_VA;                  // S
  double fundamental_apparent_power_VA;      // S1
  double non_fundamental_apparent_power_VA;  // SN
  double current_distortion_power_var;       // DI
  double voltage_distortion_power_var;       // DV
  double harmonic_apparent_power_VA;         // SH
  double harmonic_active_power_W;            // PH
  double harmonic_distortion_power_var;      // DH
  double nonactive_power_var;                // N
  double voltage_distortion;                 // VH / V1
  double current_distortion;                 // IH / I1; 0 where there is no current
  double power_factor;                       // 0 where there is no current
  double displacement_factor;                // PF1; 0 where there is no fundamental current
};
/// @throws BadInput  no fundamental voltage
PowerTerms power_terms(const PowerParts& parts);

/// Phasors (RMS) of three phases against the star point or any common point.
struct ThreePhases {
  std::array<std::complex<double>, 3> voltage_V;
  std::array<std::complex<double>, 3> current_A;
};

/// Three wires with sinusoidal quantities, IEEE Std 1459-2010, 3.2.2:
///
///   Ve^2 = (Vab^2 + Vbc^2 + Vca^2) / 9,  Ie^2 = (Ia^2 + Ib^2 + Ic^2) / 3,  Se = 3 Ve Ie,
///   S1+ = 3 V+ I+ with the positive sequence X+ = (Xa + a Xb + a^2 Xc) / 3, a at 120 degrees.
///
/// Checked in tests/published/power_terms_test.cpp.
struct ThreePhasePower {
  double active_power_W;
  double effective_voltage_V;
  double effective_current_A;
  double effective_apparent_power_VA;
  double effective_power_factor;  // 0 where nothing flows
  double positive_voltage_V;
  double negative_voltage_V;
  double positive_current_A;
  double negative_current_A;
  double positive_active_power_W;
  double positive_apparent_power_VA;
};
ThreePhasePower three_phase_power(const ThreePhases& phases);

}  // namespace windwright::signal
