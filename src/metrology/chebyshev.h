// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/nonlinear_least_squares.h"

#include <Eigen/Core>

#include <optional>
#include <span>

namespace windwright::metrology {

/// References mapped to [-1, 1], where Chebyshev polynomials are nearly orthogonal.
struct Interval {
  Extended middle;
  Extended half;

  /// Both rounded to double, so that they can be written down and read back.
  /// @param references  two distinct ones at least
  explicit Interval(std::span<const double> references);
  Extended inside(Extended x) const { return (x - middle) / half; }
};

using ExtendedMatrix = Eigen::Matrix<Extended, Eigen::Dynamic, Eigen::Dynamic>;
using ExtendedVector = Eigen::Matrix<Extended, Eigen::Dynamic, 1>;

/// Rows: references; columns: T_0..T_degree of the mapped reference.
ExtendedMatrix chebyshev(const Interval& interval, const ExtendedVector& references, int degree);

/// Powers of the reference (rows, rising) in each Chebyshev polynomial (columns).
ExtendedMatrix powers_of_chebyshev(const Interval& interval, int degree);

/// The same for powers of the mapped reference, t.
ExtendedMatrix scaled_powers_of_chebyshev(int degree);

/// A weighted fit of very many readings, by sums over them.
struct SummedFit {
  ExtendedVector coefficients;         // rising powers
  ExtendedMatrix covariance;           // with the weights as stated, not scaled
  ExtendedVector scaled_coefficients;  // the same in powers of the mapped reference
  ExtendedMatrix scaled_covariance;
  double sum_of_squares;  // of the residuals
  double weighted_sum_of_squares;
  double weighted_total;  // of the readings about their weighted mean
};

/// Least squares by the normal equations of Chebyshev polynomials: T_j T_k = (T_(j+k) + T_|j-k|) /
/// 2, so 2 degree + 1 sums make the matrix. One correction from the residuals takes out the
/// rounding.
/// @param weight  one a reading, or empty: all 1
/// @return        nothing where the references lie so that the polynomials are far from orthogonal
///                (condition above 1e4): QR is for these
/// Source: Mason and Handscomb, Chebyshev Polynomials (2003), 2.4; Bjorck, Numerical Methods for
/// Least Squares Problems (1996), 2.9.3. The peer is in benchmarks/fit_benchmark.cpp.
std::optional<SummedFit> fit_by_sums(std::span<const double> reference,
                                     std::span<const double> reading,
                                     std::span<const double> weight, int degree);

}  // namespace windwright::metrology
