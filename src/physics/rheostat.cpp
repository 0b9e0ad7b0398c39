// SPDX-License-Identifier: Apache-2.0
#include "physics/rheostat.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>

namespace windwright::physics {

double conductor_resistance_ohm(double at_20_C_ohm, double coefficient_K1, double temperature_K) {
  return at_20_C_ohm * std::max(0.1, 1.0 + coefficient_K1 * (temperature_K - 293.15));
}

double copper_winding_temperature_K(double resistance_ratio, double cold_temperature_K) {
  if (!(resistance_ratio > 0.0)) {
    throw base::BadInput("winding", fmt::format("resistance ratio is {}", resistance_ratio),
                         "above 0");
  }
  constexpr double zero_resistance_K = 273.15 - 235.0;
  return zero_resistance_K + resistance_ratio * (cold_temperature_K - zero_resistance_K);
}

double rheostat_resistance_ohm(const Rheostat& rheostat, double temperature_K) {
  return conductor_resistance_ohm(rheostat.resistance_ohm, rheostat.coefficient_K1, temperature_K);
}

double rheostat_heat_W(const Rheostat& rheostat, double temperature_K, double room_temperature_K) {
  return rheostat.rated_power_W * (temperature_K - room_temperature_K) / rheostat.rated_rise_K;
}

bool is_too_hot(const Rheostat& rheostat, double temperature_K) {
  return temperature_K > rheostat.highest_temperature_K;
}

}  // namespace windwright::physics
