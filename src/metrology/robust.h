// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>

namespace windwright::metrology {

/// Middle value; the mean of the two middle ones of an even number.
/// @param values  at least one
/// @throws BadInput  none
double median(std::span<const double> values);

struct RobustMean {
  double mean;                // x*
  double standard_deviation;  // s*
  double u;                   // standard uncertainty of the mean, 1.25 s* / sqrt(n)
  int steps;                  // of the iteration
  bool converged;             // both kept to 1e-10 of s* by the last step
};

/// Robust mean and standard deviation by algorithm A: from the median and 1.483 times the median
/// absolute deviation, values are drawn in to 1.5 standard deviations about the mean, and mean and
/// 1.134 times the standard deviation taken of these, until nothing changes. Where more than half
/// of the values are equal the median absolute deviation is 0: the mean absolute deviation times
/// 1.253 stands in for the start.
/// @param values  3 or more
/// @throws BadInput  fewer, or not finite
/// Source: ISO 13528:2015, C.3.1 and 7.7.3 (u); ISO 5725-5:1998, 6.2. Checked in
/// tests/published/interlaboratory_test.cpp.
RobustMean algorithm_a(std::span<const double> values);

}  // namespace windwright::metrology
