// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blade_section.h"
#include "physics/rotor.h"

#include <array>
#include <cstddef>
#include <optional>
#include <vector>

namespace windwright::physics {

/// A place on the blade, seen with the blade upright: x in the rotor plane in the direction of
/// turning, y downwind, z outward along the pitch axis from the rotor's axis.
struct BladePoint {
  double x_m;
  double y_m;
  double z_m;
};

/// A round stub inboard of the hub radius, for a hub that clamps it.
struct RootStub {
  double diameter_m;
  double length_m;  // of the round part
  double blend_m;   // from round to the first section, ends at the hub radius
};

struct SolidOptions {
  int points_per_side = 61;
  double longest_step_m = 0.002;  // between rings, out along the blade
  /// Place of the pitch axis on the chord line, over the chord. Left out: through every section's
  /// centroid, so that the centrifugal pull does not bend the blade.
  std::optional<double> pitch_axis = {};
  std::optional<RootStub> stub = {};
  bool clockwise = true;  // turning, seen from upwind; false mirrors the blade
};

/// A closed surface of triangles. Every ring of points is one section.
struct BladeSolid {
  std::vector<BladePoint> points;
  std::vector<std::array<std::size_t, 3>> triangles;  // counter-clockwise seen from outside
};

/// One section's ring of points at a station: leading edge, lower side, trailing edge, upper side
/// back; set at its twist (the pitch is set at the hub, so it is left out).
std::vector<BladePoint> section_ring(const RotorStation& station, const SectionShape& shape,
                                     const SolidOptions& options = {});

/// The blade from its first station (or the stub's inner end) to the tip, lofted straight between
/// rings, chord and twist linear between stations as the rotor has them, closed flat at both ends.
/// @throws BadInput  shape or option outside its domain; the stub leading past the rotor's axis
BladeSolid blade_solid(const Rotor& rotor, const SectionShape& shape,
                       const SolidOptions& options = {});

struct SolidMeasure {
  double volume_m3;
  BladePoint centroid;
};
/// By the divergence theorem over the triangles.
SolidMeasure solid_measure(const BladeSolid& solid);

}  // namespace windwright::physics
