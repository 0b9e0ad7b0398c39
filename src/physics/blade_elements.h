// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/element_solver.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <cstddef>

namespace windwright::physics {

/// One piece of a rotor's blades: what does not change with flow and pitch.
struct BladeElement {
  double radius_m;
  double span_share;  // of the blade
  double chord_m;
  double twist_rad;
  double solidity;
  double tip_ratio;  // as ElementBatch has them
  double root_ratio;
  double augmentation;
  const Polar* inner;  // of the station inboard
  const Polar* outer;
  double outer_weight;
};

/// The element at one radius. @param station  where to look from; moves outwards
BladeElement blade_element(const Rotor& rotor, const RotorOptions& options, double radius_m,
                           std::size_t& station);

/// Element number `i` of options.elements, closer at both ends.
BladeElement blade_element(const Rotor& rotor, const RotorOptions& options, int i,
                           std::size_t& station);

ElementSetting element_setting(const BladeElement& element, const RotorOptions& options);

/// Fills what a batch wants to know of an element but its speeds.
void put(const BladeElement& element, double pitch_rad, const RotorFlow& flow, ElementBatch& batch,
         std::size_t i);

/// Speeds at the element: along the axis, and against its turning.
void put_speeds(double axial_m_s, double turning_m_s, ElementBatch& batch, std::size_t i);

/// Forces per metre of radius on one blade.
struct ElementForce {
  double normal_load_N_m1;
  double tangential_load_N_m1;
};
ElementForce element_force(const BladeElement& element, const RotorFlow& flow,
                           const ElementBatch& batch, std::size_t i);

/// Adds one element's part to the loads; see finish.
void add(const BladeElement& element, const ElementForce& force, RotorLoad& total);
void add_state(const BladeElement& element, double reynolds, bool converged, double residual,
               RotorLoad& total);
/// From sums over elements to a rotor's loads and coefficients.
void finish(const Rotor& rotor, const RotorFlow& flow, RotorLoad& total);

/// @throws BadInput  an argument outside its domain
void check(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options);

}  // namespace windwright::physics
