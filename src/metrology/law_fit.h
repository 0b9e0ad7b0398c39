// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/fit.h"
#include "metrology/law.h"

#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// Least squares of any law. Which uncertainties count, and whether the covariance is scaled, is as
/// in fit_polynomial; of a backward law residuals and residual_standard_deviation are in the
/// reference's unit.
///
/// - no uncertainties, or of the readings only: Levenberg-Marquardt (nonlinear_least_squares.h)
/// - of the references too, correlated row by row: the arguments are adjusted along with the
///   coefficients (ISO/TS 28037:2010, 7 and 8)
/// - `covariance` of all readings: generalised distance regression, all arguments and coefficients
///   at once (ISO/TS 28037:2010, 9 and 10)
///
/// With uncertainties stated as many readings as coefficients are enough: they then lie on the
/// curve (chi_squared 0, no degrees of freedom).
/// @throws BadInput  columns as in fit_polynomial; too few readings; arguments outside the law's
///                   domain; readings that do not tell the coefficients apart; no rest found
Fit fit_law(const Law& law, const Readings& readings, std::string_view where);

/// One degree that was tried for `polynomial:auto`.
struct DegreeTried {
  int degree;
  double criterion;  // AICc, the lower the better
};
/// Degree by the corrected criterion of Akaike: AICc = chi_squared + 2 k + 2 k (k + 1) / (n - k -
/// 1) where uncertainties are stated (k coefficients), and n ln(S / n) with k counting the variance
/// too where they are not (S, residual sum of squares). Of the degrees within 2 of the least the
/// lowest is taken: a difference that small is no evidence.
/// Source: ISO/TS 28038:2018, 7 (criteria for the degree); Burnham and Anderson, Model Selection
/// and Multimodel Inference (2002), 2.4 and 2.6.
/// @param highest  1 to 6; cut down to what the readings allow
std::vector<DegreeTried> degrees_tried(const Readings& readings, int highest,
                                       std::string_view where);
int chosen_degree(const std::vector<DegreeTried>& tried);

}  // namespace windwright::metrology
