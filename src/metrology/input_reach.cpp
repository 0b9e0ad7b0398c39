// SPDX-License-Identifier: Apache-2.0
#include "metrology/input_reach.h"

#include "metrology/student.h"
#include "metrology/uncertain_input.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double far = 5.0;          // standard deviations of normal inputs
constexpr double seldom = 5.733e-7;  // of them are farther out

bool is_bounded(const UncertainInput& input) {
  return input.distribution != Distribution::normal;
}

}  // namespace

InputReach::InputReach(const MeasurementModel& model)
    : model_(model), directions_(independent_directions(model)) {
  const std::size_t n = size();
  for (std::size_t i = 0; i < n; ++i) {
    const UncertainInput& input = model.inputs[i];
    if (is_bounded(input) || !std::isfinite(input.degrees_of_freedom)) continue;
    const double stretch = student_factor(1.0 - seldom, input.degrees_of_freedom) / far;
    for (std::size_t j = 0; j < n; ++j)
      directions_[i * n + j] *= stretch;
  }
}

std::vector<double> InputReach::home() const {
  std::vector<double> at(size());
  for (std::size_t i = 0; i < at.size(); ++i)
    at[i] = i % 2 == 0 ? 0.037 : -0.061;
  return at;
}

double InputReach::limit(std::size_t input) const {
  const UncertainInput& one = model_.inputs[input];
  const double u = one.standard_uncertainty;
  const double inexact =
      one.distribution == Distribution::curvilinear_trapezoid ? one.half_width_inexactness : 0.0;
  return u > 0.0 ? (one.half_width + inexact) / u : 0.0;
}

std::vector<double> InputReach::within(std::vector<double> at) const {
  double squares = 0.0;
  for (std::size_t i = 0; i < at.size(); ++i) {
    if (is_bounded(model_.inputs[i])) {
      at[i] = std::clamp(at[i], -limit(i), limit(i));
    } else {
      squares += at[i] * at[i];
    }
  }
  if (squares <= far * far) return at;
  for (std::size_t i = 0; i < at.size(); ++i) {
    if (!is_bounded(model_.inputs[i])) at[i] *= far / std::sqrt(squares);
  }
  return at;
}

std::vector<double> InputReach::inputs(std::span<const double> at) const {
  const std::size_t n = size();
  std::vector<double> values(n);
  for (std::size_t i = 0; i < n; ++i) {
    const UncertainInput& input = model_.inputs[i];
    values[i] = input.value;
    for (std::size_t j = 0; j < n; ++j)
      values[i] += directions_[i * n + j] * at[j];
    // Exactly the limit as it was typed, not as its coordinate rounds it.
    if (!is_bounded(input)) continue;
    const double reach = limit(i) * input.standard_uncertainty;
    if (std::abs(at[i]) == limit(i)) values[i] = input.value + std::copysign(reach, at[i]);
  }
  return values;
}

double InputReach::moved(std::size_t input, std::span<const double> direction) const {
  const double u = model_.inputs[input].standard_uncertainty;
  if (!(u > 0.0)) return 0.0;
  double along = 0.0;
  for (std::size_t j = 0; j < size(); ++j)
    along += directions_[input * size() + j] * direction[j];
  return along / u;
}

bool InputReach::at_limit(std::size_t input, std::span<const double> at, double side) const {
  constexpr double rounding = 1e-9;
  return is_bounded(model_.inputs[input]) && limit(input) > 0.0 &&
         side * at[input] > limit(input) * (1.0 - rounding);
}

double InputReach::limit_dimension(std::size_t input) const {
  const UncertainInput& one = model_.inputs[input];
  switch (one.distribution) {
    case Distribution::arcsine:
      return 0.5;
    case Distribution::triangular:
      return 2.0;
    case Distribution::trapezoidal:
      return one.top_half_width < one.half_width ? 2.0 : 1.0;
    case Distribution::curvilinear_trapezoid:
      return one.half_width_inexactness > 0.0 ? 2.0 : 1.0;
    default:
      return 1.0;
  }
}

}  // namespace windwright::metrology
