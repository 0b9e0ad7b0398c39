// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <limits>
#include <string>

namespace windwright::metrology {

/// What is known about an input of a measurement equation, after JCGM 101:2008, 6.4.
enum class Distribution {
  normal,       // Student's t where its degrees of freedom are finite
  rectangular,  // between value - half_width and value + half_width, as all below
  triangular,
  trapezoidal,           // flat between value - top_half_width and value + top_half_width
  arcsine,               // of a sine swing of unknown phase
  curvilinear_trapezoid  // rectangular; half_width itself known to +- half_width_inexactness
};

struct UncertainInput {
  std::string name;
  double value;
  Distribution distribution = Distribution::normal;
  /// As the first-order law takes it; of a t-distribution its scale (JCGM 101, 6.4.9). 0: known.
  double standard_uncertainty = 0.0;
  /// Above 0. Of a normal input they say how well its standard uncertainty is known (JCGM 100:2008,
  /// G.3 and G.4.2); of the others they count in the first-order law alone.
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  double half_width = 0.0;              // of all but normal
  double top_half_width = 0.0;          // of trapezoidal, from 0 to half_width
  double half_width_inexactness = 0.0;  // of curvilinear_trapezoid, from 0 to half_width
};

/// An input of a distribution between limits, with the standard uncertainty that follows.
/// @param input  half_width above 0; standard_uncertainty is not read
/// Source: JCGM 101:2008, 6.4.2 to 6.4.6 and Table 1.
UncertainInput with_limits(UncertainInput input);

/// Half-width of the distribution with this standard uncertainty; not of trapezoids.
double half_width_of(Distribution distribution, double standard_uncertainty);

/// Fourth central moment over the square of the variance: 3 for normal inputs, and for t, whose own
/// may not exist.
double kurtosis(const UncertainInput& input);

}  // namespace windwright::metrology
