// SPDX-License-Identifier: Apache-2.0
#include "metrology/fit_parts.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

namespace windwright::metrology {

using Eigen::Index;

ExtendedVector column(const std::vector<double>& values, std::size_t size) {
  ExtendedVector result = ExtendedVector::Zero(static_cast<Index>(size));
  for (std::size_t i = 0; i < values.size() && i < size; ++i)
    result[static_cast<Index>(i)] = values[i];
  return result;
}

std::vector<double> doubles(const ExtendedMatrix& matrix, Extended scale) {
  std::vector<double> result;
  for (Index i = 0; i < matrix.rows(); ++i) {
    for (Index j = 0; j < matrix.cols(); ++j)
      result.push_back(static_cast<double>(scale * matrix(i, j)));
  }
  return result;
}

Rest rest_of(const ExtendedVector& y, const ExtendedVector& residuals,
             const ExtendedVector& weights, bool about_mean, bool stated) {
  const Extended mean = about_mean ? weights.dot(y) / weights.sum() : 0;
  return {.squares = residuals.squaredNorm(),
          .weighted_squares = weights.dot(residuals.cwiseAbs2()),
          .weighted_total = weights.dot((y.array() - mean).square().matrix()),
          .readings = static_cast<std::size_t>(y.size()),
          .stated = stated};
}

Fit report(const Solution& solution, const Rest& rest) {
  const auto size = solution.coefficients.size();
  const auto dof = static_cast<int>(rest.readings) - static_cast<int>(size);
  Fit fit{.coefficients = doubles(solution.coefficients, 1),
          .standard_uncertainties = {},
          .covariance = {},
          .residual_standard_deviation =
              dof > 0 ? static_cast<double>(std::sqrt(rest.squares / dof)) : 0.0,
          .degrees_of_freedom = dof,
          .chi_squared = rest.stated ? static_cast<double>(rest.weighted_squares)
                                     : std::numeric_limits<double>::quiet_NaN(),
          .r_squared = rest.weighted_total > 0
                           ? static_cast<double>(1 - rest.weighted_squares / rest.weighted_total)
                           : 1.0};
  const Extended scale = rest.stated ? 1 : rest.weighted_squares / std::max(1, dof);
  for (Index i = 0; i < size; ++i) {
    fit.standard_uncertainties.push_back(
        static_cast<double>(std::sqrt(scale * solution.covariance(i, i))));
  }
  fit.covariance = doubles(solution.covariance, scale);
  return fit;
}

AlongTangent along_tangent(const BothUncertain& readings, Index row, Extended slope,
                           Extended adjusted) {
  const Extended u_x = readings.u_x[row];
  const Extended u_y = readings.u_y[row];
  const Extended covariance = readings.correlation[row] * u_x * u_y;
  const Extended variance = u_y * u_y + slope * slope * u_x * u_x - 2 * slope * covariance;
  return {.variance = variance,
          .shift = (slope * u_x * u_x - covariance) / variance,
          .target = readings.y[row] - slope * (readings.x[row] - adjusted)};
}

}  // namespace windwright::metrology
