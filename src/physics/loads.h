// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// What the load selector can connect to the DC terminals. docs/theory/electrical.md.
struct Loads {
  double rheostat_lowest_ohm;
  double rheostat_highest_ohm;
  int lamps;  // incandescent, in parallel
  double lamp_rated_voltage_V;
  double lamp_rated_power_W;
  double lamp_rated_temperature_K;  // filament
  double lamp_heat_capacity_J_K;    // filament
};

/// Resistivity of tungsten over that at 300 K, thermal expansion neglected: its logarithm is a
/// polynomial of sixth degree in ln(T / 300 K), fitted by least squares to the table of Forsythe
/// and Worthing; off the table by at most 0.12 % from 1000 to 3600 K and 0.3 % below. Lamps as sold
/// differ from their rating by far more.
/// @param temperature_K  200 to 3695 (melting point); values outside count as these
/// Source: Forsythe and Worthing, The properties of tungsten and the characteristics of tungsten
/// lamps, Astrophys. J. 61 (1925) 146. Checked in tests/published/lamp_test.cpp.
double tungsten_resistivity_ratio(double temperature_K);

/// Resistance of one lamp: rated voltage squared over rated power at the rated temperature, and as
/// tungsten's resistivity at others.
double lamp_resistance_ohm(const Loads& loads, double filament_temperature_K);

/// d(filament temperature)/dt of one lamp: what it is fed less S (T^4 - T0^4) + k (T - T0), over
/// its heat capacity. The sum is the rated power at rated temperature in a room of 298.15 K, so
/// there a lamp fed its rated power keeps it; 5 % of it leaves by conduction (no source: leads of a
/// small lamp; more would take the exponent of its current away from the published one).
/// @param electrical_power_W  of one lamp
/// Source of the two terms: Carla, Stefan-Boltzmann law for the tungsten filament of a light bulb,
/// Am. J. Phys. 81 (2013) 512, eq. 1. Checked in tests/published/lamp_test.cpp.
double lamp_heating_K_s(const Loads& loads, double filament_temperature_K,
                        double electrical_power_W, double room_temperature_K);

/// Positions of the load selector.
enum class LoadSelection { none, rheostat, lamps, rheostat_and_lamps };

/// Resistance at the DC terminals; infinity for none, and for lamps on a bench without any.
/// @param rheostat_ohm  the wiper stops at the ends: values outside lowest to highest count as
/// these
/// @param filament_temperature_K  of every lamp
double load_resistance_ohm(const Loads& loads, LoadSelection selection, double rheostat_ohm,
                           double filament_temperature_K);

}  // namespace windwright::physics
