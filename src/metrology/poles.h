// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/measurement_model.h"

#include <cstddef>
#include <string>

namespace windwright::metrology {

/// A place where an output goes to infinity and that the inputs reach.
struct Pole {
  double order = 0.0;  // grows as distance^-order; 0: none was found
  std::string near;    // inputs that lead there with their values there, `a = 1.2, b = 0.3`
};

/// The worst pole of an output within reach of its inputs: five standard uncertainties of normal
/// ones, as seldom for t-distributions, the limits of others. Where the density is not zero,
/// distance^-order has a mean for orders below 1 and a variance below 1/2 alone.
///
/// From the inputs' values it goes to both ends along the direction in which each divisor, base of
/// a negative power and cosine of a tangent changes most (correlations counted). Where a step
/// that it is computed from changes sign on the way, the output is looked at ever closer. What is
/// found is a pole; one may stay unfound, such as one exactly at a limit.
/// Source: elementary, integral of distance^-order; the direction is that of the first-order
/// reliability method (Hasofer and Lind, J. Eng. Mech. Div. ASCE 100 (1974) 111, from memory).
Pole worst_pole(const MeasurementModel& model, std::size_t output);

}  // namespace windwright::metrology
