// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/polar.h"
#include "physics/rotor.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace windwright::physics {

/// What a blade shall do: its design point, and the section it shall have.
struct DesignTask {
  int blades;                          // 1 to 12
  double hub_radius_m;                 // above 0
  double tip_radius_m;                 // above the hub radius
  double tip_speed_ratio;              // 0.1 to 25
  double air_speed_m_s;                // above 0; gives the Reynolds number
  double density_kg_m3;                // above 0
  double dynamic_viscosity_Pa_s;       // above 0
  std::shared_ptr<const Polar> polar;  // shared: goes into every station of the rotor
};

struct DesignOptions {
  bool wake_rotation = true;    // false: the axial momentum alone (Betz)
  bool drag = true;             // false: the optimum of a section without drag
  Losses losses = Losses::tip;  // the root's would thin the blade where it has to be strong
  int stations = 21;            // 2 to 1000, evenly from hub to tip
  /// Left out: at every station the angle whose lift-to-drag ratio, taken as the mean over one
  /// degree to either side, is best at the Reynolds number there.
  std::optional<double> angle_of_attack_rad = {};
  /// The loss factor of a station nearer to the end than this part of the blade's length is taken
  /// at this distance: the formula would let the blade end in a point.
  double end_distance = 0.01;
};

struct DesignStation {
  double radius_m;
  double local_speed_ratio;  // tip-speed ratio times radius over tip radius
  double chord_m;
  double twist_rad;
  double inflow_angle_rad;
  double angle_of_attack_rad;
  double cl;
  double cd;
  double reynolds;
  double loss_factor;
  double axial_induction;
  double tangential_induction;
  double blade_loading;  // B c cl lambda / R
  bool below_reynolds;   // of the polar: its lowest table held
  bool above_reynolds;
};

struct BladeDesign {
  Rotor rotor;  // pitch 0
  std::vector<DesignStation> stations;
  int unsettled_stations = 0;  // where chord and Reynolds number did not come to rest to 1e-6
};

/// Chord and twist that take the most power at the design point, each radius for itself.
///
/// At a radius, momentum and blade element give for every inflow angle phi the loading s = B c cl /
/// (2 pi r) that holds it, with e = cd/cl, x the local speed ratio and F Prandtl's factor:
///   with wake rotation  s = 4 F sin phi (cos phi - x sin phi) / (sin phi + x cos phi + e x sin
///   phi); without  s = 4 F a / (1 - a) sin^2 phi / (cos phi + e sin phi), 1 - a = x tan phi,
/// and the power s (sin phi - e cos phi) (W/V)^2; phi is where that is largest. At e = 0, F = 1
/// this is Glauert's ideal rotor, phi = (2/3) atan(1/x), or Betz's, tan phi = 2/(3x). For given phi
/// and x the power depends on the section only through e, so the best angle of attack is that of
/// the best lift-to-drag ratio. Chord, Reynolds number and angle of attack are iterated.
///
/// Sources: Glauert, Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935); Wilson,
/// Lissaman, Walker, Aerodynamic performance of wind turbines, Oregon State University (1976), in
/// the form of Manwell, McGowan, Rogers, Wind Energy Explained, 2nd ed. (2009), sections 3.5, 3.7
/// and 3.9; e in the axial balance is ours, so that rotor_load finds the same inflow. Checked in
/// tests/published/blade_design_test.cpp; limits: docs/theory/blade_design.md.
/// @throws BadInput  an argument outside its domain; a polar without drag or without lift and no
///                   angle of attack given
BladeDesign design_blade(const DesignTask& task, const DesignOptions& options = {});

/// The best inflow angle and the loading B c cl lambda / R at one local speed ratio.
struct LocalOptimum {
  double inflow_angle_rad;
  double loading;  // s x 2 pi: B c cl lambda / R
  double axial_induction;
  double tangential_induction;
  double loss_factor;
};
struct LocalTask {
  int blades;
  double local_speed_ratio;
  double drag_to_lift;
  double tip_distance;   // (R - r) / r
  double root_distance;  // (r - hub) / hub
};
LocalOptimum local_optimum(const LocalTask& task, const DesignOptions& options);

/// The angle of attack design_blade takes at a Reynolds number.
/// @throws BadInput  no lift, or no drag
double best_angle_of_attack_rad(const Polar& polar, double reynolds);

}  // namespace windwright::physics
