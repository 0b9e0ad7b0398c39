// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

#include <array>
#include <cstddef>
#include <optional>
#include <vector>

namespace windwright::twin {

/// A rotor's aerodynamic torque, and the velocity it induces at the disc, in steady flow over all
/// air and rotor speeds, tabulated from physics::rotor_load so that the simulation can ask for them
/// a million times a second.
///
/// With W^2 = v^2 + (omega R)^2 the coefficients c = Q / (1/2 rho pi R^3 W^2) and w / W stay
/// bounded from standstill to a rotor that coasts in still air. They are kept over
///   s = omega R / (omega R + 4 v), even steps: fine where small rotors have their best point, and
///   ln v rho / mu (the Reynolds number at a given s), even steps,
/// and read back by monotone cubics (Fritsch and Carlson, Monotone piecewise cubic interpolation,
/// SIAM J. Numer. Anal. 17 (1980)) along s and a Catmull-Rom cubic along ln v, so that it has a
/// continuous slope. Above a tip-speed ratio of 30 both are kept at their values there.
///
/// A node is computed when it is first needed; its value does not depend on when that is.
class TorqueTable {
 public:
  /// @param density_kg_m3, dynamic_viscosity_Pa_s  of the air it is made in; other air only moves
  ///        the Reynolds number and the factor rho
  /// @param rated_air_speed_m_s  the table spans 0.08 to 1.3 times this; beyond, both
  ///        are kept
  /// @param section_area_m2  of a closed section around the rotor: speeds are then the tunnel's,
  ///        loads those between its walls, and the induced velocity is what the air through the
  ///        disc lacks to the tunnel's
  TorqueTable(const physics::Rotor& rotor, double density_kg_m3, double dynamic_viscosity_Pa_s,
              double rated_air_speed_m_s, std::optional<double> section_area_m2 = std::nullopt);

  /// @param flow  speeds at the disc, not negative
  double torque_N_m(const physics::RotorFlow& flow);
  /// Mean over the disc, from the thrust: physics::quasi_steady_induced_m_s.
  double induced_m_s(const physics::RotorFlow& flow);

 private:
  enum Quantity : std::size_t { torque, induced, quantities };
  struct Node {
    std::array<double, quantities> value;  // NaN until computed
    std::array<double, quantities> slope;  // per step of s; NaN until computed
  };
  struct Place {
    std::size_t row;
    double past_row;  // 0 to 1
    double column;
    double w2;  // W^2, m2 s-2
  };
  const Node& value_at(std::size_t row, std::size_t column);
  const Node& node_at(std::size_t row, std::size_t column);
  double along_s(Quantity quantity, std::size_t row, double place);
  Place place_of(const physics::RotorFlow& flow) const;
  double coefficient(Quantity quantity, const Place& place);

  physics::Rotor rotor_;
  double density_kg_m3_;
  double dynamic_viscosity_Pa_s_;
  std::optional<double> section_area_m2_;
  double log_lowest_;
  double log_step_;
  std::vector<Node> nodes_;  // rows of ln v x columns of s, row by row
};

}  // namespace windwright::twin
