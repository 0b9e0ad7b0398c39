// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// Resistance of a conductor at a temperature, linear about 20 degC:
/// R = R20 (1 + alpha20 (T - 293.15 K)), not below a tenth of R20.
/// Source: IEC 60028 (copper: alpha20 = 0.00393 / K). Checked in
/// tests/published/conductor_test.cpp.
/// @param at_20_C_ohm       0 or more
/// @param coefficient_K1    alpha20; constantan wire about 0, copper 0.00393
double conductor_resistance_ohm(double at_20_C_ohm, double coefficient_K1, double temperature_K);

/// Mean temperature of a copper winding from its resistance over that when cold:
/// (235 + t2) / (235 + t1) in degC.
/// Source: IEC 60034-1. Checked in tests/published/conductor_test.cpp.
/// @param resistance_ratio  above 0
/// @throws BadInput  otherwise
double copper_winding_temperature_K(double resistance_ratio, double cold_temperature_K);

/// Sliding resistor with its heat. Caution: its wire is hot enough to burn long after it is off.
struct Rheostat {
  double resistance_ohm;         // at 20 degC, at the wiper's present place; above 0
  double coefficient_K1;         // of the wire's resistance
  double rated_power_W;          // held for ever at rated_rise_K
  double rated_rise_K;           // of its temperature over the room at rated power
  double heat_capacity_J_K;      // of wire and core
  double highest_temperature_K;  // above it, it is too hot
};

/// At the wire's temperature.
double rheostat_resistance_ohm(const Rheostat& rheostat, double temperature_K);

/// Heat to the room, proportional to the rise (common practice, no source).
double rheostat_heat_W(const Rheostat& rheostat, double temperature_K, double room_temperature_K);

/// Whether the wire is above its highest temperature: a statement, nothing switches itself off.
bool is_too_hot(const Rheostat& rheostat, double temperature_K);

}  // namespace windwright::physics
