// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/program.h"
#include "metrology/uncertain_input.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

/// Inputs whose errors belong together: correlated, and drawn jointly.
struct InputGroup {
  std::vector<std::size_t> members;  // inputs, ascending, two or more
  std::vector<double> correlation;   // members x members, row by row
  /// Of one estimate of variance behind all members (the coefficients of one fit, means of samples
  /// taken together): then the group counts as one input in the effective degrees of freedom, and
  /// is drawn from the multivariate t-distribution, so that any linear function of its members has
  /// Student's distribution. 0: each member has its own variance and degrees of freedom, and
  /// follows its own t-distribution.
  double shared_degrees_of_freedom = 0.0;
};

/// A measurement: equations, and what is known about their inputs.
struct MeasurementModel {
  std::vector<UncertainInput> inputs;
  std::vector<InputGroup> groups;  // no input in two
  std::vector<std::string> outputs;
  std::vector<std::string> equations;  // (outputs), as they were typed
  std::vector<std::string> places;     // (outputs), `file:line` of each, for messages
  Program program;
};

/// A stated correlation coefficient of two inputs.
struct StatedCorrelation {
  std::size_t first;
  std::size_t second;
  double coefficient;
  std::string where;  // `file:line`, for messages
};

/// Puts correlated inputs together. Members that all have the same finite degrees of freedom are
/// taken to come from one estimate of variance.
/// @throws BadInput  coefficients that no joint distribution can have together; an input of another
///                   distribution than normal; a pair given twice
std::vector<InputGroup> groups_of(std::span<const UncertainInput> inputs,
                                  std::span<const StatedCorrelation> correlations);

/// Lower triangular L with L L^T = correlation, members x members, row by row. A direction without
/// variance gets a column of zeros.
/// @param correlation  positive semidefinite
std::vector<double> factor_of(const InputGroup& group);

/// Smallest eigenvalue of a symmetric matrix, size x size.
double smallest_eigenvalue(std::span<const double> matrix, std::size_t size);

/// (inputs), at which equations are expanded.
std::vector<double> input_values(const MeasurementModel& model);

/// Correlation coefficients of all inputs, inputs x inputs, row by row.
std::vector<double> input_correlation(const MeasurementModel& model);

/// Inputs as functions of independent ones of variance 1: inputs x inputs, row by row, d input /
/// dz.
std::vector<double> independent_directions(const MeasurementModel& model);

}  // namespace windwright::metrology
