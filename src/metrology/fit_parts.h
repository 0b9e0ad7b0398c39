// SPDX-License-Identifier: Apache-2.0
// What the fits of polynomials and of other laws have in common.
#pragma once

#include "metrology/chebyshev.h"
#include "metrology/fit.h"

#include <cstddef>
#include <vector>

namespace windwright::metrology {

/// Values in extended precision; zeros where there are none.
ExtendedVector column(const std::vector<double>& values, std::size_t size);

/// Entries row by row, times a factor.
std::vector<double> doubles(const ExtendedMatrix& matrix, Extended scale);

/// Coefficients and their covariance, with unit weights for the standard deviations given.
struct Solution {
  ExtendedVector coefficients;
  ExtendedMatrix covariance;
};

/// What a fit leaves, by sums over all readings.
struct Rest {
  Extended squares;           // of the residuals
  Extended weighted_squares;  // chi-squared where uncertainties are stated by row
  Extended weighted_total;    // of the readings, about their weighted mean or about 0
  std::size_t readings;
  bool stated;  // uncertainties
};
/// @param about_mean  one coefficient stands alone
Rest rest_of(const ExtendedVector& y, const ExtendedVector& residuals,
             const ExtendedVector& weights, bool about_mean, bool stated);

/// Covariance as it is where uncertainties are stated, else times the residual variance. As many
/// readings as coefficients leave a residual standard deviation of 0.
Fit report(const Solution& solution, const Rest& rest);

/// Readings with uncertainties of both, row by row.
struct BothUncertain {
  ExtendedVector x;
  ExtendedVector y;
  ExtendedVector u_x;
  ExtendedVector u_y;
  ExtendedVector correlation;
};

/// One row's adjustment along the tangent of the curve at the adjusted argument (ISO/TS 28037:2010,
/// 7 and 8; York et al. 2004).
struct AlongTangent {
  Extended variance;  // of the value less the curve's
  Extended shift;     // of the argument, per residual of the value
  Extended target;    // the value as against the curve at the adjusted argument
};
AlongTangent along_tangent(const BothUncertain& readings, Eigen::Index row, Extended slope,
                           Extended adjusted);

}  // namespace windwright::metrology
