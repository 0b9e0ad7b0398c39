// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

struct Air {
  double temperature_K;
  double pressure_Pa;
  double relative_humidity;             // 0 to 1
  double co2_mole_fraction = 400.0e-6;  // outdoor air of today
};

double density_kg_m3(const Air& air);
double dynamic_viscosity_Pa_s(const Air& air);
double speed_of_sound_m_s(const Air& air);

}  // namespace windwright::physics
