// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// What an inverter's AC terminals show.
enum class OutputKind { sine, quasi_square, square };

/// AC voltage, odd and with half-wave symmetry: its fundamental is in phase with sin(2 pi turns).
/// quasi_square ("modified sine") rests at 0 for (1 - pulse_share) / 4 of a period at each end of
/// each half period; square is its limit without rest.
struct AcSupply {
  OutputKind kind;
  double peak_V;        // 0 or more
  double pulse_share;   // of half a period, in [0, 1]; counts for quasi_square only
  double frequency_Hz;  // above 0
};

/// @throws BadInput  outside the domains above
void check(const AcSupply& supply);

/// Closed forms of one period. alpha = (1 - pulse_share) pi / 2 is the rest at each end.
/// Source: Fourier series; quasi-square in Mohan, Undeland, Robbins, Power Electronics (ch. 8,
/// voltage cancellation; from memory). Checked in tests/published/ac_supply_test.cpp.

/// peak / sqrt 2, peak sqrt(pulse_share), peak.
double rms_V(const AcSupply& supply);

/// Mean of the magnitude: 2 peak / pi, peak pulse_share, peak.
double rectified_mean_V(const AcSupply& supply);

/// RMS of the part sin(order 2 pi turns), with its sign: for the pulses 4 peak cos(order alpha) /
/// (order pi sqrt 2), 0 for even orders.
/// @param order  1 or more
double harmonic_V(const AcSupply& supply, int order);

/// Total harmonic distortion: RMS of everything but the fundamental over the fundamental's; 0
/// without voltage.
double distortion(const AcSupply& supply);

/// The voltage at one instant.
/// @param turns  periods since the upward zero crossing of the fundamental, any
double voltage_V(const AcSupply& supply, double turns);

}  // namespace windwright::physics
