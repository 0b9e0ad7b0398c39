// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/polar.h"

#include <memory>
#include <string>
#include <vector>

namespace windwright::physics {

struct RotorStation {
  double radius_m;
  double chord_m;
  double twist_rad;                    // from the rotor plane, positive towards feather
  std::shared_ptr<const Polar> polar;  // shared: many stations, one table
};

struct Rotor {
  int blades;
  double hub_radius_m;
  double tip_radius_m;
  double pitch_rad;                    // adds to every station's twist
  std::vector<RotorStation> stations;  // radius ascending
};

struct RotorFlow {
  double air_speed_m_s;
  double rotor_speed_rad_s;
  double density_kg_m3;
  double dynamic_viscosity_Pa_s;
};

struct RotorLoad {
  double tip_speed_ratio;
  double power_W;
  double torque_N_m;
  double thrust_N;
  double cp;
  double cq;
  double ct;
};

RotorLoad rotor_load(const Rotor& rotor, const RotorFlow& flow);

}  // namespace windwright::physics
