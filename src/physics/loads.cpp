// SPDX-License-Identifier: Apache-2.0
#include "physics/loads.h"

#include "physics/lamp.h"

#include <algorithm>
#include <limits>

namespace windwright::physics {
namespace {

Lamp lamp_of(const Loads& loads) {
  return {.rated_voltage_V = loads.lamp_rated_voltage_V,
          .rated_power_W = loads.lamp_rated_power_W,
          .rated_temperature_K = loads.lamp_rated_temperature_K,
          .heat_capacity_J_K = loads.lamp_heat_capacity_J_K};
}

}  // namespace

double lamp_resistance_ohm(const Loads& loads, double filament_temperature_K) {
  return lamp_resistance_ohm(lamp_of(loads), filament_temperature_K);
}

double lamp_heating_K_s(const Loads& loads, double filament_temperature_K,
                        double electrical_power_W, double room_temperature_K) {
  return lamp_heating_K_s(lamp_of(loads), filament_temperature_K, electrical_power_W,
                          room_temperature_K);
}

double load_resistance_ohm(const Loads& loads, LoadSelection selection, double rheostat_ohm,
                           double filament_temperature_K) {
  const bool has_rheostat =
      selection == LoadSelection::rheostat || selection == LoadSelection::rheostat_and_lamps;
  const bool has_lamps = loads.lamps > 0 && (selection == LoadSelection::lamps ||
                                             selection == LoadSelection::rheostat_and_lamps);
  double conductance = 0.0;
  if (has_rheostat) {
    conductance +=
        1.0 / std::clamp(rheostat_ohm, loads.rheostat_lowest_ohm, loads.rheostat_highest_ohm);
  }
  if (has_lamps) {
    conductance += loads.lamps / lamp_resistance_ohm(loads, filament_temperature_K);
  }
  return conductance > 0.0 ? 1.0 / conductance : std::numeric_limits<double>::infinity();
}

}  // namespace windwright::physics
