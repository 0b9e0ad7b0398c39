// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/polar.h"

#include <memory>
#include <span>
#include <vector>

namespace windwright::physics {

struct RotorStation {
  double radius_m;
  double chord_m;
  double twist_rad;                    // from the rotor plane, positive towards feather
  std::shared_ptr<const Polar> polar;  // shared: many stations, one table
};

/// A horizontal-axis rotor across the wind. A plain value: for another blade count or pitch, copy
/// it and set that field. Between stations chord and twist are linear and the polars' forces
/// blended.
struct Rotor {
  int blades;           // 1 to 12
  double hub_radius_m;  // above 0; where the blade starts
  double tip_radius_m;
  double pitch_rad;                    // adds to every station's twist
  std::vector<RotorStation> stations;  // at least two, radius ascending, from hub to tip
};

struct RotorFlow {
  double air_speed_m_s;      // far upstream, not negative
  double rotor_speed_rad_s;  // negative: turning backwards
  double density_kg_m3;
  double dynamic_viscosity_Pa_s;
  double yaw_rad = 0.0;  // of the axis from the wind, -60 to 60 degrees
};

enum class Losses { none, tip, root, both };

/// Thrust of heavily loaded annuli, where the momentum theorem ends.
enum class HighThrust {
  buhl,    // from an axial induction of 0.4: Buhl, NREL/TP-500-36834 (2005)
  glauert  // from 1/3: ct = 4 a (1 - a (5 - 3 a) / 4) F, as in Hansen, Aerodynamics of Wind
           // Turbines
};

struct RotorOptions {
  Losses losses = Losses::both;  // Prandtl's factor where the vortices of few blades leave them
  int elements = 40;             // closer at both ends; 1e-3 of power against many more
  bool wake_rotation = true;     // false: the wake leaves without swirl (Betz)
  HighThrust high_thrust = HighThrust::buhl;  // glauert: for texts; stray elements may not balance
  /// Let drag, too, take part in the swirl's momentum balance. Off: what drag does stays in the
  /// thin viscous wakes (Wilson and Lissaman, Applied aerodynamics of wind power machines, Oregon
  /// State University 1974), and the equation stays regular where the flow through the disc stops.
  bool drag_in_swirl = false;
  /// Give back what stall takes from the lift of the inner blade, as rotation does:
  /// cl = cl_2d + 3.1 (c/r)^2 (omega r / W)^2 (cl_attached - cl_2d) up to 80 % of the tip
  /// radius, the factor 1 at most; none at standstill. Snel, Houwink, Bosschers, Sectional
  /// prediction of lift coefficients on rotating wind turbine blades in stall, ECN-C--93-052
  /// (1994), with the speed ratio of Lindenburg, Investigation into rotor blade aerodynamics,
  /// ECN-C--03-025 (2003). Formula from memory. While an element is being solved, omega r / W is
  /// that with cl_2d in the swirl.
  bool rotational_augmentation = true;
};

struct RotorLoad {
  double tip_speed_ratio;  // this and the coefficients are 0 in still air, where they have no value
  double power_W;          // torque times rotor speed
  double torque_N_m;
  double thrust_N;
  double cp;
  double cq;
  double ct;
  double span_below_reynolds = 0.0;  // share of the blade below its polar's lowest Reynolds number,
                                     // which then held
  double span_above_reynolds = 0.0;  // above the highest
  double largest_residual = 0.0;     // of all elements; ElementLoad
  int unconverged_elements = 0;      // these carry the loads without induction
  double unconverged_radius_m = 0.0;  // of the first of them
};

/// What one element of one blade sees and gives.
struct ElementLoad {
  double radius_m;
  double inflow_angle_rad;      // of the relative flow from the rotor plane
  double angle_of_attack_rad;   // inflow angle less twist and pitch
  double axial_induction;       // a; 0 in still air
  double tangential_induction;  // a'; 0 at standstill
  double loss_factor;           // Prandtl's F, tip times root
  double relative_speed_m_s;
  double reynolds;
  double cl;
  double cd;
  double normal_load_N_m1;      // one blade, per metre of radius, along the wind
  double tangential_load_N_m1;  // one blade, per metre of radius, in the direction of turning
  double residual;  // sine of the angle between the flow that momentum and blade forces ask and
                    // the real one
  bool below_reynolds;
  bool above_reynolds;
  bool converged;
};

/// Power, torque and thrust by blade-element momentum theory.
///
/// One equation for the inflow angle of each element (after Ning, A simple solution method for the
/// blade element momentum equations with guaranteed convergence, Wind Energy 17 (2014) 1327-1345),
/// written so that it has a solution in every state: windmill, turbulent wake, reversed flow,
/// propeller, standstill, still air, turning backwards. Where there are several, as in stall, it is
/// the first above the plane of rotation: the most attached. Prandtl's loss factor at tip and root.
/// Above an axial induction of 0.4 the thrust follows Buhl's parabola (A new empirical relationship
/// between thrust coefficient and induction factor for the turbulent windmill state,
/// NREL/TP-500-36834, 2005), past 1 until the momentum theorem for reversed flow overtakes it, and
/// the swirl fades, to none at 1. The Reynolds number is that of the local flow.
///
/// In yaw each element is solved at 12 places round the circle, with the wind's part in the plane
/// of rotation in its turning speed, and its axial induction is then skewed: a (1 + 15 pi/32
/// tan(chi / 2) (r/R) cos psi), psi from the downwind side, chi = (1 + 0.6 a) yaw (Pitt and Peters,
/// Theoretical prediction of dynamic-inflow derivatives, Vertica 5 (1981); Burton et al., Wind
/// Energy Handbook, 2nd ed., section 3.10.8).
/// Theory, limits, proof and checks: docs/theory/rotor.md.
///
/// @param rotor    see there
/// @param flow     density and viscosity above 0
/// @return         finite always; standstill and still air have their own loads
/// @throws BadInput  an argument outside its domain
/// Allocates nothing; any number of threads may call. The same bits on every machine.
RotorLoad rotor_load(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options = {});

struct RotorSpan {
  RotorLoad total;
  std::vector<ElementLoad> elements;  // from hub to tip
};
/// The same with what every element does.
RotorSpan rotor_span(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options = {});

/// Loads over tip-speed ratios and pitches together, as many times faster as elements fit into a
/// vector of the machine.
/// @param flow              air speed above 0; its rotor speed is not used
/// @param tip_speed_ratios  not negative
/// @param pitches_rad       in place of the rotor's
/// @return                  pitches x tip-speed ratios, a pitch's tip-speed ratios side by side
std::vector<RotorLoad> rotor_surface(const Rotor& rotor, const RotorFlow& flow,
                                     std::span<const double> tip_speed_ratios,
                                     std::span<const double> pitches_rad,
                                     const RotorOptions& options = {});

/// One element at one radius between hub and tip, without yaw.
ElementLoad element_load(const Rotor& rotor, double radius_m, const RotorFlow& flow,
                         const RotorOptions& options = {});

/// Swept area, from the axis to the tip.
double swept_area_m2(const Rotor& rotor);
/// Blade length over mean chord: what a polar's continuation wants.
double aspect_ratio(const std::vector<RotorStation>& stations);

/// Prandtl's loss factor of one end of the blades: F = (2/pi) acos(exp(-f)), f = (B/2) d / (r |sin
/// phi|).
/// @param blades          B
/// @param distance_ratio  d / r: distance from the end over the radius of the element (tip) or of
/// the
///                        end (root)
/// @param sine_of_inflow  sin phi; 0 gives 1
/// Source: Glauert, Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935), for the
/// tip; Moriarty and Hansen, AeroDyn Theory Manual, NREL/TP-500-36881 (2005), for the root.
double prandtl_loss_factor(int blades, double distance_ratio, double sine_of_inflow);

}  // namespace windwright::physics
