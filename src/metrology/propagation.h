// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/coverage_interval.h"
#include "metrology/measurement_model.h"
#include "metrology/monte_carlo.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

struct PropagationOptions {
  std::optional<std::size_t> trials = {};  // nothing: adaptive
  std::uint64_t seed = 1;
  double level = 0.95;         // of all intervals, in (0, 1)
  int significant_digits = 2;  // of standard uncertainties that matter, 1 to 4: JCGM 101 7.9.2
};

/// A value by the law of propagation, to first or to second order.
struct SeriesResult {
  double value;
  double u;  // NaN where the equation has no derivative at the estimates
  double dof;
  double expanded;  // half-width of `interval`
  Interval interval;
};

/// One input's part in an output's uncertainty.
struct InputShare {
  std::size_t input;
  double sensitivity;   // dy/dx, in the units of both
  double contribution;  // |sensitivity| times standard uncertainty, in the output's unit
  double share;         // of the variance; all add up to 1, correlations can make one negative
  /// u of the output, to second order where it exists, with this input's uncertainty halved.
  double u_if_halved;
};

/// Does the law of propagation do? JCGM 101:2008, clause 8.
struct Validation {
  /// Half a unit of the last significant digit of the smallest of the standard uncertainties
  /// compared that are positive and finite: the trials' own need not exist.
  double tolerance;
  double low_difference;
  double high_difference;  // of the symmetric interval's ends
  /// Both differences within the tolerance; never where the trials are not stable or their
  /// numerical tolerance is larger.
  bool validated;
  /// Not validated, but chance in the trials may be to blame.
  bool open;
  int agreed_digits;  // of that standard uncertainty, up to 4, to which the ends surely agree
};

struct PropagatedOutput {
  std::string name;
  SeriesResult first_order;
  SeriesResult second_order;
  bool second_order_matters;  // value or u differ by more than the tolerance
  MonteCarloOutput monte_carlo;
  Validation first_order_check;
  Validation second_order_check;
  std::vector<InputShare> budget;  // by share, largest first
};

struct Propagation {
  std::vector<PropagatedOutput> outputs;
  std::vector<double> correlation;  // of the outputs, first order, row by row
  MonteCarlo monte_carlo;
  std::optional<JointRegion> first_order_joint;  // of two outputs or more, normal
  std::vector<std::string> remarks;              // what a reader must know
};

/// All answers side by side. First order: JCGM 100:2008, 5.1.2 and 5.2.2, effective degrees of
/// freedom G.4.1; correlated inputs count as one estimate of variance or, where their degrees of
/// freedom differ, each with what the output's variance changes with its own, correlation
/// coefficients taken as known (Willink, Metrologia 44 (2007) 340, from memory). Second order:
/// value and variance with all terms up to the fourth power of the uncertainties, 5.1.2 note and
/// H.1.7, with each distribution's own fourth moment; correlated inputs are written in independent
/// ones first.
/// @throws BadInput  the equation has no finite value at the estimates; see also monte_carlo()
Propagation propagation(const MeasurementModel& model, const PropagationOptions& options);

/// Half a unit of the last of so many significant digits: JCGM 101:2008, 7.9.2.
double numerical_tolerance(double standard_uncertainty, int significant_digits);

/// Why the trials state no value, or no standard uncertainty, in words; empty where they state
/// both.
std::string no_moments(const MonteCarloOutput& trials);

/// Why the trials state a value or a standard uncertainty of which it is not known whether it
/// exists, in words; empty where that is known.
std::string open_moments(const MonteCarloOutput& trials);

}  // namespace windwright::metrology
