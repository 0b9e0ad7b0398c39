// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace windwright::physics {

/// A point of a blade section in parts of the chord: x from the leading edge (0) to the trailing
/// edge (1), y from the chord line towards the suction side.
struct SectionPoint {
  double x;
  double y;
};

/// A section's contour. Both sides have the same number of points, at least three, from the leading
/// to the trailing edge; the first point is common, the last ones lie a trailing-edge thickness
/// apart. Points of the same index face each other, which lets a cap be laid between them.
struct SectionOutline {
  std::vector<SectionPoint> upper;  // suction side
  std::vector<SectionPoint> lower;
};

/// What a section looks like at any chord.
struct SectionShape {
  enum class Kind { naca4, plate, points };
  Kind kind;
  double camber = 0.0;           // largest height of the mean line over the chord; below 0.3
  double camber_position = 0.4;  // naca4: its place, 0 to 1 exclusive
  double thickness = 0.0;        // naca4: over the chord, above 0
  double thickness_m = 0.0;      // plate: the sheet's, above 0
  SectionOutline outline = {};   // points
  double trailing_edge_m = 0.0;  // no thinner than this: what a printer can lay
};

/// The contour at one chord. A trailing edge thinner than the shape asks for is opened by a wedge
/// that grows from the leading edge, half on each side.
/// - naca4: mean line of two parabolas and thickness +-5 t (0.2969 x^(1/2) - 0.1260 x - 0.3516 x^2
/// +
///   0.2843 x^3 - 0.1015 x^4) at right angles to it. Source: Abbott, von Doenhoff, Theory of Wing
///   Sections (1959), section 6.4, equations 6.2 and 6.4. Checked in
///   tests/published/blade_strength_test.cpp.
/// - plate: sheet of one thickness, bent to an arc of a parabola (a circle's to within 1 % of the
///   camber up to 10 % camber), nose rounded, trailing edge square.
/// @param chord_m          above 0
/// @param points_per_side  3 to 1000, closer at the ends
/// @throws BadInput        the shape or an argument is outside its domain
SectionOutline section_outline(const SectionShape& shape, double chord_m, int points_per_side = 41);

/// Brings a contour to a number of points a side, closer at the ends, straight lines between the
/// given ones. Each side must run from leading to trailing edge with x ascending.
/// @throws BadInput  x not ascending, fewer than three points a side, the sides crossing
SectionOutline resampled(const SectionOutline& outline, int points_per_side);

/// Area and second moments of a section in metres.
struct SectionProperties {
  double area_m2;
  SectionPoint centroid;  // parts of the chord
  // Second moments of area about the centroid, m4, of x x, x y and y y: the first resists bending
  // edgewise, the last flapwise.
  double xx;
  double xy;
  double yy;
};
/// Of the polygon through the contour's points, by Green's theorem.
SectionProperties section_properties(const SectionOutline& outline, double chord_m);

/// A force along the blade and the moments of the loads outboard: force times lever arm, in the
/// section's own directions.
struct SectionForces {
  double tension_N;
  double aft_moment_N_m;      // of forces from the leading towards the trailing edge
  double suction_moment_N_m;  // of forces towards the suction side
};
struct SectionStress {
  double tension_Pa;  // tension over area
  double bending_Pa;  // largest magnitude on the contour
  double largest_Pa;  // largest magnitude of both together
};
/// Stress of a straight slender beam, unsymmetrical bending included: sigma = N/A - (J^-1 M) p, p
/// from the centroid, J the matrix of second moments.
/// Source: any strength of materials, for example Young, Budynas, Roark's Formulas for Stress and
/// Strain, 7th ed. (2002), section 8.8. Checked in tests/published/blade_strength_test.cpp.
SectionStress section_stress(const SectionOutline& outline, double chord_m,
                             const SectionForces& forces);

}  // namespace windwright::physics
