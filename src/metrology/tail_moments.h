// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/measurement_model.h"
#include "metrology/poles.h"

#include <cstddef>
#include <string>

namespace windwright::metrology {

/// Which moments an output's distribution has, and what takes them away.
struct TailMoments {
  bool mean = true;
  bool variance = true;
  std::string input;  // name of the one that asks for most degrees of freedom; empty: none does
  double degrees_of_freedom = 0.0;  // it has so many,
  double growth = 0.0;  // and the equation grows as this power of it far out; infinite: faster
  Pole pole = {};       // the worst within reach
  /// Near where a pole is of which it is not known what it takes away; empty: none is.
  std::string undecided = {};
};

/// An input with nu degrees of freedom follows a t-distribution, whose p-th absolute moment exists
/// where nu > p. An equation that far out grows as the p-th power of such an input has a mean where
/// nu > p and a variance where nu > 2 p. p is read off the equation's values 1e4 and 1e8 standard
/// uncertainties away, on both sides, the others a little off their values; inputs of one estimate
/// of variance go out together. Around both distances the largest of several values counts, so that
/// an equation that swings (a sine) is seen as what it is: bounded. Poles within reach: poles.h.
/// Source: JCGM 101:2008, 6.4.9.4 (t-distribution: expectation for nu > 1, variance for nu > 2).
TailMoments tail_moments(const MeasurementModel& model, std::size_t output);

}  // namespace windwright::metrology
