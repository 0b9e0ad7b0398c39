// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <limits>

namespace windwright::physics {

/// Where the power of a load goes at one moment: electrical = heat + radiated + mechanical +
/// stored, to rounding.
struct PowerSplit {
  double electrical_W = 0.0;  // in; on AC the active power, mean over a period
  double heat_W = 0.0;        // to the room, by contact
  double radiated_W = 0.0;    // light and infrared of an incandescent lamp, light of an LED
  double mechanical_W = 0.0;  // from the shaft to what it drives
  double stored_W = 0.0;      // rate of what it stores: heat, motion, charge
};

/// What a load carries over from moment to moment, on or off. Each kind uses the fields it needs;
/// rates stand in the same fields.
struct LoadState {
  double temperature_K = 298.15;  // rheostat's wire, lamp's filament
  double speed_rad_s = 0.0;       // shaft
  double capacitor_J = 0.0;       // LED lamp, at the voltage's zero crossing
};
struct LoadRates {
  double temperature_K_s = 0.0;
  double speed_rad_s2 = 0.0;
  double capacitor_W = 0.0;
};

/// At DC terminals.
struct DcFlow {
  double current_A = 0.0;
  double slope_S = 0.0;  // d(current)/d(voltage) at this state
  PowerSplit power;
  LoadRates rates;
};

/// RMS phasors of the odd orders 1, 3, ... 39: the current is the sum of sqrt 2 Im(I exp(j order 2
/// pi turns)), so a real one is in phase with the supply's fundamental and a lagging one has a
/// negative imaginary part.
inline constexpr std::size_t harmonic_orders = 20;
using Harmonics = std::array<std::complex<double>, harmonic_orders>;
inline int order_of(std::size_t index) {
  return 2 * static_cast<int>(index) + 1;
}

/// At AC terminals, mean over a period.
struct AcFlow {
  double reactive_power_var = 0.0;  // of the fundamental, positive inductive (IEEE 1459 Q1)
  double rms_current_A = 0.0;
  double active_slope_A = 0.0;  // d(active power)/d(RMS voltage) at this state and wave form
  /// Of a load that is nothing but a resistance; its harmonics stay 0, for they are the voltage's.
  double resistance_ohm = std::numeric_limits<double>::infinity();
  Harmonics harmonics_A{};
  PowerSplit power;
  LoadRates rates;
};

}  // namespace windwright::physics
