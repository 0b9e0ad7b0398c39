// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace windwright::analysis {

/// Maximum of a polynomial through measured points, with what is needed to carry the points'
/// uncertainties to it: to first order maximum = sum of maximum_weights[i] * (y[i] - slopes[i] *
/// x[i]) + constant, and likewise the place of the maximum with optimum_weights. A common factor on
/// all x or all y is carried exactly.
struct PeakFit {
  std::vector<double> coefficients;     // rising powers of x
  double optimum;                       // x of the maximum
  double maximum;                       // y there
  std::vector<double> maximum_weights;  // (points) d maximum / d y
  std::vector<double> optimum_weights;  // (points) d optimum / d y
  std::vector<double> slopes;           // (points) of the polynomial
  double chi_squared;                   // weighted sum of squared residuals
  int degrees_of_freedom;               // points less coefficients
  double aicc;                          // of this degree: below
  /// The maximum lies strictly between the smallest and the largest x. Otherwise optimum, maximum,
  /// weights and slopes say nothing.
  bool inside;
};

/// Least number of points for a fit: the three coefficients of a parabola and two to judge them by.
inline constexpr int fewest_points_to_fit = 5;

/// Least squares with weights 1 / variance by one degree, with its Akaike criterion corrected for
/// few points, AICc = n ln(chi2 / n) + 2 k + 2 k (k + 1) / (n - k - 1), k the coefficients and the
/// variance. Source: K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference, 2nd
/// ed. (2002), section 2.4 (from memory).
/// @param x, y, variance  (points), one of each; variance above 0
/// @param degree  2 to 4
/// @return  nothing with fewer points than the degree needs: two more than coefficients, three for
///          the quartic, so that AICc exists (of six points the cubic has none; it stands alone
///          there), one more different x than coefficients
std::optional<PeakFit> fit_peak(std::span<const double> x, std::span<const double> y,
                                std::span<const double> variance, int degree);

}  // namespace windwright::analysis
