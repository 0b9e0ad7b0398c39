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

/// Of one of the lamps, as physics/lamp.h has them.
double lamp_resistance_ohm(const Loads& loads, double filament_temperature_K);
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
