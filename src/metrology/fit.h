// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// A polynomial in powers of t = (reference - middle) / half_width, t from -1 to 1 over the
/// readings. Far from zero, powers of the reference itself cancel: their covariance, rounded to
/// double, may leave no digit of an uncertainty; this one keeps them.
struct ScaledPowers {
  double middle;
  double half_width;                 // above 0
  std::vector<double> coefficients;  // rising powers of t
  std::vector<double> covariance;    // coefficients x coefficients, row by row
};

/// How a fitted curve reading = f(reference) came out.
struct Fit {
  std::vector<double> coefficients;            // rising powers
  std::vector<double> standard_uncertainties;  // (coefficients)
  std::vector<double> covariance;              // coefficients x coefficients, row by row
  double residual_standard_deviation;          // in the reading's unit, not weighted
  int degrees_of_freedom;                      // readings less coefficients
  double chi_squared;                          // NaN without stated reading uncertainties
  double r_squared;                            // 1 where the readings are all the same
  std::optional<ScaledPowers> scaled = {};     // of polynomials: the same curve, to be used
};

/// Readings of known inputs, all columns of the same length.
struct Readings {
  std::vector<double> reference;
  std::vector<double> reading;
  std::vector<double> u_reference;  // standard uncertainties, above 0; empty: not stated
  std::vector<double> u_reading;    // the same
  /// Of the errors of reference and reading of one row, between -1 and 1; empty: none.
  std::vector<double> correlation = {};
  /// Instead of the uncertainties: covariance of all readings (n x n, row by row), or of all
  /// references and then all readings (2 n x 2 n); for fit_law only. Empty: not stated.
  std::vector<double> covariance = {};
};

/// Checks that columns are of one length, finite, uncertainties above 0, correlations within
/// bounds.
/// @throws BadInput
void require_columns(const Readings& readings, std::string_view where);

/// Least-squares polynomial reading = c_0 + c_1 reference + ... + c_degree reference^degree.
///
/// Without stated uncertainties every reading has the same weight and the covariance is scaled by
/// the residual variance. With `u_reading` the weights are 1 / u^2 and the covariance is not
/// scaled. With `u_reference` as well (or alone) the distance from the curve counts in both
/// directions: the references are adjusted along with the coefficients until both stand still, so
/// that chi_squared = sum of (residual)^2 / (u_reading^2 + f'^2 u_reference^2) is least.
///
/// Solved over Chebyshev polynomials on the range of the references and then written out in powers:
/// by Householder QR in extended precision, or, from 500 readings on where their spread leaves the
/// polynomials nearly orthogonal, by sums over them in double precision with one correction.
/// Source: Bjorck, Numerical Methods for Least Squares Problems (1996), 2.4; both uncertainties:
/// ISO/TS 28037:2010, 7.2, and York et al., Am. J. Phys. 72 (2004) 367 (line),
/// carried over to polynomials. Checked in
/// tests/published/fit_test.cpp.
/// @param degree  0 to 12; a certificate takes 1 to 6
/// @param where   for the message: file or channel
/// @throws BadInput  columns of different length, values that are not finite, uncertainties not
///                   above 0, fewer than degree + 2 readings, fewer than degree + 1 distinct
///                   references, adjustment does not come to rest
Fit fit_polynomial(const Readings& readings, int degree, std::string_view where);

/// Readings that depend linearly on coefficients: reading = sum of term * coefficient.
struct LinearReadings {
  std::vector<double> terms;      // readings x coefficients, row by row
  std::size_t coefficients;       // 1 or more
  std::vector<double> reading;    // (readings)
  std::vector<double> u_reading;  // standard uncertainties, above 0; empty: not stated
  bool has_constant;              // one coefficient stands alone: r_squared is about the mean
};

/// Least squares of any linear model, by QR of the scaled terms in extended precision; covariance
/// and degrees of freedom as in fit_polynomial.
/// Checked in tests/published/fit_test.cpp (Longley, NoInt1).
/// @throws BadInput  columns of different length, values not finite, uncertainties not above 0, no
///                   more readings than coefficients, terms that depend on each other
Fit fit_linear(const LinearReadings& readings, std::string_view where);

/// A fit in powers of t = (reference - middle) / half_width as one in powers of the reference,
/// which keeps the given one as `scaled`.
Fit in_powers_of_reference(Fit fit_of_t, double middle, double half_width);

/// Whether coefficients and covariance are those of `scaled`, to the rounding of doubles.
bool agrees_with_scaled(const Fit& fit);

/// f(x), and f'(x), of coefficients in rising powers.
double polynomial(std::span<const double> coefficients, double x);
double polynomial_slope(std::span<const double> coefficients, double x);

}  // namespace windwright::metrology
