// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/measurement_model.h"

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

/// The inputs of a model as independent coordinates, one standard deviation each, 0 at the inputs'
/// values, and how far the inputs reach: five standard deviations of normal ones together, as
/// seldom for t-distributions (their coordinates are stretched), the limits of others.
class InputReach {
 public:
  explicit InputReach(const MeasurementModel& model);

  std::size_t size() const { return model_.inputs.size(); }
  /// A place a little off the inputs' values: there an equation may have no slope, and two of its
  /// steps may both be zero by chance.
  std::vector<double> home() const;
  /// The nearest place within reach.
  std::vector<double> within(std::vector<double> at) const;
  std::vector<double> inputs(std::span<const double> at) const;
  /// How far an input moves along a direction, in its standard uncertainties; 0 for a known one.
  double moved(std::size_t input, std::span<const double> direction) const;
  /// True where an input with a coordinate of its own is at its lower (side -1) or upper (+1) limit
  /// to within rounding.
  bool at_limit(std::size_t input, std::span<const double> at, double side) const;
  /// s, where the probability within a small distance d of a limit goes as d^s: 1 for a density
  /// that ends there (rectangular), 2 for one that falls linearly to zero (triangular), 1/2 for one
  /// that grows as distance^-1/2 (arcsine).
  double limit_dimension(std::size_t input) const;

 private:
  double limit(std::size_t input) const;  // of a bounded input, in its coordinate

  const MeasurementModel& model_;
  std::vector<double> directions_;  // inputs x inputs, d input / d coordinate
};

}  // namespace windwright::metrology
