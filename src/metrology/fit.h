// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// How a fitted curve reading = f(reference) came out.
struct Fit {
  std::vector<double> coefficients;            // rising powers
  std::vector<double> standard_uncertainties;  // (coefficients)
  std::vector<double> covariance;              // coefficients x coefficients, row by row
  double residual_standard_deviation;          // in the reading's unit, not weighted
  int degrees_of_freedom;                      // readings less coefficients
  double chi_squared;                          // NaN without stated reading uncertainties
  double r_squared;                            // 1 where the readings are all the same
};

/// Readings of known inputs, all columns of the same length.
struct Readings {
  std::vector<double> reference;
  std::vector<double> reading;
  std::vector<double> u_reference;  // standard uncertainties, above 0; empty: not stated
  std::vector<double> u_reading;    // the same
};

/// Least-squares polynomial reading = c_0 + c_1 reference + ... + c_degree reference^degree.
///
/// Without stated uncertainties every reading has the same weight and the covariance is scaled by
/// the residual variance. With `u_reading` the weights are 1 / u^2 and the covariance is not
/// scaled. With `u_reference` as well (or alone) the distance from the curve counts in both
/// directions: the references are adjusted along with the coefficients until both stand still, so
/// that chi_squared = sum of (residual)^2 / (u_reading^2 + f'^2 u_reference^2) is least.
///
/// Solved by Householder QR over Chebyshev polynomials on the range of the references, in extended
/// precision, and then written out in powers.
/// Source: Bjorck, Numerical Methods for Least Squares Problems (1996), 2.4; both uncertainties:
/// ISO/TS 28037:2010, 7.2 (line), carried over to polynomials. Checked in
/// tests/published/fit_test.cpp.
/// @param degree  0 to 12; a certificate takes 1 to 6
/// @param where   for the message: file or channel
/// @throws BadInput  columns of different length, values that are not finite, uncertainties not
///                   above 0, fewer than degree + 2 readings, fewer than degree + 1 distinct
///                   references, adjustment does not come to rest
Fit fit_polynomial(const Readings& readings, int degree, std::string_view where);

/// f(x), and f'(x), of coefficients in rising powers.
double polynomial(std::span<const double> coefficients, double x);
double polynomial_slope(std::span<const double> coefficients, double x);

}  // namespace windwright::metrology
