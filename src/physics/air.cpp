// SPDX-License-Identifier: Apache-2.0
#include "physics/air.h"

#include <cmath>

namespace windwright::physics {

namespace {

constexpr double celsius_zero_K = 273.15;

}  // namespace

double water_vapour_mole_fraction(const Air& air) {
  const double T = air.temperature_K;
  const double t = T - celsius_zero_K;
  const double saturation_Pa =
      std::exp(1.2378847e-5 * T * T - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T);
  const double enhancement = 1.00062 + 3.14e-8 * air.pressure_Pa + 5.6e-7 * t * t;
  return air.relative_humidity * enhancement * saturation_Pa / air.pressure_Pa;
}

double density_kg_m3(const Air& air) {
  const double T = air.temperature_K;
  const double t = T - celsius_zero_K;
  const double p = air.pressure_Pa;
  const double x = water_vapour_mole_fraction(air);
  // Compressibility factor of moist air.
  const double Z = 1.0 -
                   p / T *
                       (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t +
                        (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x * x) +
                   p * p / (T * T) * (1.83e-11 - 0.765e-8 * x * x);
  constexpr double R = 8.314472;            // J mol-1 K-1, CODATA 2006 as in the equation
  constexpr double M_vapour = 18.01528e-3;  // kg mol-1
  const double M_dry = (28.96546 + 12.011 * (air.co2_mole_fraction - 0.0004)) * 1e-3;
  return p * M_dry / (Z * R * T) * (1.0 - x * (1.0 - M_vapour / M_dry));
}

double dynamic_viscosity_Pa_s(const Air& air) {
  const double T = air.temperature_K;
  return 1.458e-6 * T * std::sqrt(T) / (T + 110.4);
}

double speed_of_sound_m_s(const Air& air) {
  const double t = air.temperature_K - celsius_zero_K;
  const double p = air.pressure_Pa;
  const double w = water_vapour_mole_fraction(air);
  const double c = air.co2_mole_fraction;
  return 331.5024 + 0.603055 * t - 0.000528 * t * t +
         (51.471935 + 0.1495874 * t - 0.000782 * t * t) * w +
         (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p +
         (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * c - 2.835149 * w * w - 2.15e-13 * p * p +
         29.179762 * c * c + 0.000486 * w * p * c;
}

}  // namespace windwright::physics
