// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blade_design.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace windwright::physics {

/// Another section in the place of the task's own.
struct OtherSection {
  std::string name;  // "flat_plate"
  std::shared_ptr<const Polar> polar;
};

/// What making the blade easily gives up.
struct Compromises {
  std::optional<double> largest_chord_m = {};
  bool linear_twist = false;
  std::vector<OtherSection> sections = {};
};

/// One way to build the blade, and what the rotor then gives by rotor_load with its own default
/// options, at the design air speed.
struct PracticalBlade {
  std::string name;  // "optimum", "chord_limit", "linear_twist", a section's, joined by "+"
  Rotor rotor;
  int unsettled_stations;
  double cp;                    // at the design tip-speed ratio
  double best_tip_speed_ratio;  // between half and 1.8 times the design's
  double best_cp;               // there
};

/// The optimum blade first, then each compromise alone, then together: chord limit and linear twist
/// on the task's section, and both on each other section. A blade with another section is designed
/// anew for it.
/// @throws BadInput  as design_blade; a chord limit not above 0
std::vector<PracticalBlade> practical_blades(const DesignTask& task, const DesignOptions& options,
                                             const Compromises& compromises);

/// Cuts chords down to the limit; where it does, turns the section to the angle that gives the most
/// torque there with the chord that is left.
void limit_chord(Rotor& rotor, double largest_chord_m, const DesignTask& task);

/// Puts the straight line of twist in place that gives the most power at the design point: found by
/// turning the line and shifting it in turn.
void make_twist_linear(Rotor& rotor, const DesignTask& task);

/// What every station of a rotor does at the design point, by element_load with the tip's losses
/// (the end stations a hundredth of the blade inward, where the factor is not 0).
std::vector<DesignStation> stations_at_work(const Rotor& rotor, const DesignTask& task);

}  // namespace windwright::physics
