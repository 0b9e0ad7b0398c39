// SPDX-License-Identifier: Apache-2.0
#include "physics/lamp.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>

namespace windwright::physics {
namespace {

constexpr double conducted_share = 0.05;  // of the rated power
constexpr double rated_room_temperature_K = 298.15;

double fourth_power(double x) {
  return x * x * x * x;
}

// Parts of their rated values.
struct LossParts {
  double radiated;
  double conducted;
};

LossParts loss_parts(const Lamp& lamp, double filament_temperature_K, double room_temperature_K) {
  return {
      .radiated = (fourth_power(filament_temperature_K) - fourth_power(room_temperature_K)) /
                  (fourth_power(lamp.rated_temperature_K) - fourth_power(rated_room_temperature_K)),
      .conducted = (filament_temperature_K - room_temperature_K) /
                   (lamp.rated_temperature_K - rated_room_temperature_K)};
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

double lamp_resistance_ohm(const Lamp& lamp, double filament_temperature_K) {
  const double rated_ohm = lamp.rated_voltage_V * lamp.rated_voltage_V / lamp.rated_power_W;
  return rated_ohm * tungsten_resistivity_ratio(filament_temperature_K) /
         tungsten_resistivity_ratio(lamp.rated_temperature_K);
}

LampLoss lamp_loss(const Lamp& lamp, double filament_temperature_K, double room_temperature_K) {
  const LossParts parts = loss_parts(lamp, filament_temperature_K, room_temperature_K);
  return {.radiated_W = lamp.rated_power_W * (1.0 - conducted_share) * parts.radiated,
          .conducted_W = lamp.rated_power_W * conducted_share * parts.conducted};
}

double lamp_heating_K_s(const Lamp& lamp, double filament_temperature_K, double electrical_power_W,
                        double room_temperature_K) {
  const LossParts parts = loss_parts(lamp, filament_temperature_K, room_temperature_K);
  const double lost_W = lamp.rated_power_W * ((1.0 - conducted_share) * parts.radiated +
                                              conducted_share * parts.conducted);
  return (electrical_power_W - lost_W) / lamp.heat_capacity_J_K;
}

}  // namespace windwright::physics
