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
  double u_degree_maximum;  // spread of the maximum over the degrees that the points allow
  double u_degree_optimum;
};

/// Degrees that are tried.
inline constexpr int lowest_degree = 2;
inline constexpr int highest_degree = 4;

/// Least number of points for a fit: three coefficients and two to judge them by.
inline constexpr int fewest_points_to_fit = 5;

/// Least squares with weights 1 / variance; of the degrees 2 to 4 the one with the smallest Akaike
/// criterion corrected for few points, AICc = n ln(chi2 / n) + 2 k + 2 k (k + 1) / (n - k - 1), k
/// the coefficients and the variance. Source: K. P. Burnham, D. R. Anderson, Model Selection and
/// Multimodel Inference, 2nd ed. (2002), sections 2.4 and 4.3 (from memory); degrees are weighed by
/// exp(-AICc / 2) for u_degree_....
/// @param x, y, variance  (points), one of each; variance above 0
/// @param degree             this one alone, so that curves can be fitted alike; u_degree_... are 0
/// @return  nothing with fewer points than the degree needs (fewest_points_to_fit at least), or
///          where the maximum of the best polynomial is not strictly between the smallest and the
///          largest x
std::optional<PeakFit> fit_peak(std::span<const double> x, std::span<const double> y,
                                std::span<const double> variance,
                                std::optional<int> degree = std::nullopt);

}  // namespace windwright::analysis
