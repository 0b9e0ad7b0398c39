// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blade_section.h"
#include "physics/rotor.h"

#include <optional>
#include <vector>

namespace windwright::physics {

/// Where this theory ends for a blade: there the air's compressibility adds a tenth to the loads
/// (Prandtl and Glauert's 1 / sqrt(1 - M^2) at M = 0.44), beyond more, and nothing here knows it.
inline constexpr double largest_assessed_tip_speed_m_s = 150.0;

/// What a blade is made of, and how. The sections are taken as solid.
struct Blade {
  double density_kg_m3;        // above 0
  double allowable_stress_Pa;  // strength over safety factor: the maker's decision, above 0
  SectionShape section;
  std::optional<double> root_diameter_m = {};  // of a round stub at the hub, where there is one
  double highest_tip_speed_m_s = largest_assessed_tip_speed_m_s;  // less for noise or erosion
};

/// What one section has to carry for all of the blade outboard of it.
struct SectionLoad {
  double radius_m;
  double centrifugal_force_N;
  double flapwise_moment_N_m;  // of the air's forces at right angles to the chord, to suction side
  double edgewise_moment_N_m;  // along the chord, towards the leading edge
  double weight_moment_N_m;    // of the blade's weight with the blade level, added edgewise
  double centrifugal_stress_Pa;
  double bending_stress_Pa;
  double stress_Pa;  // largest magnitude of all together
};

struct BladeLoads {
  double tip_speed_m_s;
  double blade_mass_kg;
  double blade_inertia_kg_m2;         // about the rotor's axis
  SectionLoad root;                   // at the hub radius; of the stub where that is weaker
  SectionLoad worst;                  // where stress is highest
  std::vector<SectionLoad> sections;  // hub to tip
};

/// Loads and stresses of one blade in a steady flow: centrifugal pull, bending by the air's forces
/// (rotor_span) and by the blade's own weight, as a straight slender cantilever.
///
/// Stated: sections stacked on their centroids, so that the pull does not bend the blade;
/// deflection, which the pull would ease, left out; no torsion, no stress raised by holes, screws
/// or corners, no fatigue, creep or heat, no gyroscopic moment, nothing of a gust but its speed.
/// The safety factor has to cover them. Theory, checks: docs/theory/blade_strength.md.
/// @throws BadInput  an argument outside its domain
BladeLoads blade_loads(const Rotor& rotor, const Blade& blade, const RotorFlow& flow);

/// All that a bench can do to its blades.
struct LoadEnvelope {
  double highest_air_speed_m_s;     // gusts included; not negative
  std::vector<double> pitches_rad;  // at least one
  int blades;                       // the fewest: each then carries most
  double density_kg_m3;             // of the densest air
  double dynamic_viscosity_Pa_s;
  /// Of a closed section: the air speeds are then the tunnel's, and between its walls the blades
  /// carry what a faster open stream would give them (rotor_in_tunnel).
  std::optional<double> section_area_m2 = {};
};

/// The flow that the blades feel at an air speed of the envelope: the same, or between a closed
/// section's walls the open stream that loads them as much.
/// @param air_speed_m_s, rotor_speed_rad_s  not negative
RotorFlow flow_at_blades(const Rotor& rotor, const LoadEnvelope& envelope, double air_speed_m_s,
                         double rotor_speed_rad_s);

enum class SpeedBound { stress, tip_speed };

struct SafeSpeed {
  double rotor_speed_rad_s;  // 0: the highest air speed is too much at standstill already
  SpeedBound bound;
  double air_speed_m_s;  // of the worst case at that speed
  double pitch_rad;
  SectionLoad worst;  // there
};

/// The rotor speed up to which no section's stress passes the allowable one, at any air speed from
/// still air to the highest (nine speeds, evenly) and any of the pitches; or the tip-speed limit,
/// where that is lower. Found from standstill up (sixteenths of the speed at which the pull alone
/// would do it, then bisection to 1e-6 of that), so that it is the first crossing.
/// @throws BadInput  an argument outside its domain
SafeSpeed safe_rotor_speed(const Rotor& rotor, const Blade& blade, const LoadEnvelope& envelope);

}  // namespace windwright::physics
