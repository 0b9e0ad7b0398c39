// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

#include <cstddef>
#include <vector>

namespace windwright::twin {

/// A rotor's aerodynamic torque over all air and rotor speeds, tabulated from physics::rotor_load
/// so that the simulation can ask for it a million times a second.
///
/// With W^2 = v^2 + (omega R)^2 the coefficient c = Q / (1/2 rho pi R^3 W^2) stays bounded from
/// standstill to a rotor that coasts in still air. It is kept over
///   s = omega R / (omega R + 4 v), even steps: fine where small rotors have their best point, and
///   ln v rho / mu (the Reynolds number at a given s), even steps,
/// and read back by monotone cubics (Fritsch and Carlson, Monotone piecewise cubic interpolation,
/// SIAM J. Numer. Anal. 17 (1980)) along s and a Catmull-Rom cubic along ln v, so that it has a
/// continuous slope. Above a tip-speed ratio of 30 c is kept at its value there.
///
/// A node is computed when it is first needed; its value does not depend on when that is.
class TorqueTable {
 public:
  /// @param density_kg_m3, dynamic_viscosity_Pa_s  of the air it is made in; other air only moves
  ///        the Reynolds number and the factor rho
  /// @param rated_air_speed_m_s  the table spans 0.08 to 1.3 times this; beyond, c is kept
  TorqueTable(const physics::Rotor& rotor, double density_kg_m3, double dynamic_viscosity_Pa_s,
              double rated_air_speed_m_s);

  /// @param flow  speeds at the disc, not negative
  double torque_N_m(const physics::RotorFlow& flow);

 private:
  struct Node {
    double value;  // NaN until computed
    double slope;  // per step of s; NaN until computed
  };
  double value_at(std::size_t row, std::size_t column);
  const Node& node_at(std::size_t row, std::size_t column);
  double along_s(std::size_t row, double place);

  physics::Rotor rotor_;
  double density_kg_m3_;
  double dynamic_viscosity_Pa_s_;
  double log_lowest_;
  double log_step_;
  std::vector<Node> nodes_;  // rows of ln v x columns of s, row by row
};

}  // namespace windwright::twin
