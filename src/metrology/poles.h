// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/measurement_model.h"

#include <cstddef>
#include <string>

namespace windwright::metrology {

/// A place where an output goes to infinity and that the inputs reach.
struct Pole {
  double order = 0.0;  // grows as distance^-order; 0: none was found; infinite: faster
  /// The chance to be within a small distance d of it goes as d^dimension. 1: a curve or surface
  /// that divides the inputs' space; k: where k things must vanish together. At a limit: of a
  /// rectangular density 1, of one that falls to zero (triangular) 2, of arcsine 1/2.
  double dimension = 1.0;
  std::string near;  // inputs that lead there with their values there, `a = 1.2, b = 0.3`

  bool leaves_mean() const { return order < dimension; }
  bool leaves_variance() const { return order < 0.5 * dimension; }
};

struct Poles {
  Pole worst;             // of those whose order and dimension were found
  std::string undecided;  // near where another is, too tangled to say what it takes away
};

/// The worst pole of an output within the inputs' reach (input_reach.h).
///
/// From the inputs' values it goes to both ends along the direction in which each divisor, base of
/// a negative power and cosine of a tangent changes most (correlations counted), looking where a
/// step behind it changes sign and at the end, and down the divisor's slopes to where it vanishes
/// without a change of sign. Order and dimension are read off the output around the place
/// (pole_place.h). What is found is a pole; one may stay unfound off these ways.
/// Source: elementary, integral of distance^-order; docs/theory/uncertainty.md.
Poles poles(const MeasurementModel& model, std::size_t output);

}  // namespace windwright::metrology
