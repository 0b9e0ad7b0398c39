// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// Incandescent lamp, on DC or AC. Its state is the filament's temperature; the inrush of a cold
/// lamp follows from it. docs/theory/loads.md.
struct Lamp {
  double rated_voltage_V;
  double rated_power_W;
  double rated_temperature_K;  // filament
  double heat_capacity_J_K;    // filament
};

/// Resistivity of tungsten over that at 300 K, thermal expansion neglected: its logarithm is a
/// polynomial of sixth degree in ln(T / 300 K), fitted by least squares to the table of Forsythe
/// and Worthing; off the table by at most 0.12 % from 1000 to 3600 K and 0.3 % below. Lamps as sold
/// differ from their rating by far more.
/// @param temperature_K  200 to 3695 (melting point); values outside count as these
/// Source: Forsythe and Worthing, The properties of tungsten and the characteristics of tungsten
/// lamps, Astrophys. J. 61 (1925) 146. Checked in tests/published/lamp_test.cpp.
double tungsten_resistivity_ratio(double temperature_K);

/// Rated voltage squared over rated power at the rated temperature, and as tungsten's resistivity
/// at others.
double lamp_resistance_ohm(const Lamp& lamp, double filament_temperature_K);

/// What a filament gives off: S (T^4 - T0^4) radiated, k (T - T0) conducted by its leads and gas.
/// Together the rated power at rated temperature in a room of 298.15 K; 5 % of it conducted (no
/// source: leads of a small lamp; more would take the exponent of its current away from the
/// published one).
/// Source of the two terms: Carla, Stefan-Boltzmann law for the tungsten filament of a light bulb,
/// Am. J. Phys. 81 (2013) 512, eq. 1. Checked in tests/published/lamp_test.cpp.
struct LampLoss {
  double radiated_W;   // light and infrared
  double conducted_W;  // heat
};
LampLoss lamp_loss(const Lamp& lamp, double filament_temperature_K, double room_temperature_K);

/// d(filament temperature)/dt: what the lamp is fed less what it gives off, over its heat capacity.
double lamp_heating_K_s(const Lamp& lamp, double filament_temperature_K, double electrical_power_W,
                        double room_temperature_K);

}  // namespace windwright::physics
