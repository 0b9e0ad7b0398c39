// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"

#include <span>
#include <vector>

namespace windwright::metrology {

/// How far two results of the same quantity are apart, measured by the uncertainty of their
/// difference. Inputs that both name (one certificate behind both) drop out of the difference, so
/// correlated results are judged by the smaller uncertainty that they deserve.
struct Agreement {
  Estimate difference;  // a - b
  double expanded;      // of the difference, at the level asked for
  double en;            // difference over `expanded`: up to 1 in size, the two agree
  double zeta;          // difference over its standard uncertainty
};

/// Without any uncertainty en and zeta are NaN, or 0 for a difference of 0.
/// Source: ISO/IEC 17043:2010, B.3.1.3 d) and e); ISO 13528:2015, 9.6 and 9.7, with the uncertainty
/// of the difference for independent results, u_a^2 + u_b^2, and for correlated ones.
Agreement agreement(const Estimate& a, const Estimate& b, double level = 0.95);

struct WeightedMean {
  Estimate mean;                // inputs kept
  std::vector<double> weights;  // (results), sum 1; negative ones occur among correlated results
  double chi_squared;           // of the results about the mean, by their covariance
  double degrees_of_freedom;    // results less 1
  double chance;                // that consistent results scatter as much or more
  double birge_ratio;           // root of chi-squared per degree of freedom
  bool consistent;              // chance is 5 % or more
};

/// Mean of results of one quantity with the weights that make its uncertainty smallest: 1 / u^2 for
/// independent results, the rows of the inverse covariance for correlated ones. The uncertainty is
/// the one that follows from those stated; results that are not consistent deserve no common
/// uncertainty before the reason is found, and the Birge ratio says by how much the stated ones
/// would have to be larger. Strongly correlated results that are not consistent can have a mean
/// outside of all of them: it is no value to use.
/// Source: M. G. Cox, The evaluation of key comparison data, Metrologia 39 (2002) 589-595,
/// procedure A; R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev.
/// 40 (1932) 207-227; correlated: A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42-48.
/// @param results  two or more, each with an uncertainty
/// @throws BadInput  fewer; one without uncertainty; results so correlated that their differences
///                   have none left
WeightedMean weighted_mean(std::span<const Estimate> results);

}  // namespace windwright::metrology
