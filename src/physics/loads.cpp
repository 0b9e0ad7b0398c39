// SPDX-License-Identifier: Apache-2.0
#include "physics/loads.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>

namespace windwright::physics {
namespace {

constexpr double conducted_share = 0.05;  // of the rated power
constexpr double rated_room_temperature_K = 298.15;

double fourth_power(double x) {
  return x * x * x * x;
}

}  // namespace

double tungsten_resistivity_ratio(double temperature_K) {
  const double y = std::log(std::clamp(temperature_K, 200.0, 3695.0) / 300.0);
  constexpr std::array coefficients = {0.00020641,  1.25657635, -0.16612446, 0.34441630,
                                       -0.29432621, 0.10719503, -0.01403119};
  double logarithm = 0.0;
  for (std::size_t i = coefficients.size(); i-- > 0;)
    logarithm = logarithm * y + coefficients[i];
  return std::exp(logarithm);
}

double lamp_resistance_ohm(const Loads& loads, double filament_temperature_K) {
  const double rated_ohm =
      loads.lamp_rated_voltage_V * loads.lamp_rated_voltage_V / loads.lamp_rated_power_W;
  return rated_ohm * tungsten_resistivity_ratio(filament_temperature_K) /
         tungsten_resistivity_ratio(loads.lamp_rated_temperature_K);
}

double lamp_heating_K_s(const Loads& loads, double filament_temperature_K,
                        double electrical_power_W, double room_temperature_K) {
  const double radiated =
      (fourth_power(filament_temperature_K) - fourth_power(room_temperature_K)) /
      (fourth_power(loads.lamp_rated_temperature_K) - fourth_power(rated_room_temperature_K));
  const double conducted = (filament_temperature_K - room_temperature_K) /
                           (loads.lamp_rated_temperature_K - rated_room_temperature_K);
  const double lost_W =
      loads.lamp_rated_power_W * ((1.0 - conducted_share) * radiated + conducted_share * conducted);
  return (electrical_power_W - lost_W) / loads.lamp_heat_capacity_J_K;
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
