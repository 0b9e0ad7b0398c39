// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"

#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// Lower triangular L with L L^T = covariance (Cholesky), so that correlated values can be written
/// with independent inputs: input k adds L(i, k) to value i. A direction without variance gets a
/// column of zeros.
/// @param covariance  size x size, row by row, positive semidefinite
/// @return            size x size, row by row
/// Source: Golub and Van Loan, Matrix Computations, 3rd ed. (1996), 4.2.5 and 4.2.8.
std::vector<double> decorrelated(std::span<const double> covariance, std::size_t size);

/// Values with a known covariance as estimates that share inputs `<prefix>-0<suffix>`,
/// `<prefix>-1<suffix>`, ...: with prefix "mean" and suffix "#7" the joint random part of the means
/// at test point 7.
/// @param covariance  values x values, row by row
/// @param dof         degrees of freedom of the covariance
struct CorrelatedValues {
  std::span<const double> values;
  std::span<const double> covariance;
  double dof;
};
std::vector<Estimate> estimates_of(const CorrelatedValues& values, std::string_view prefix,
                                   std::string_view suffix);

}  // namespace windwright::metrology
