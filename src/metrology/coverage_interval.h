// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

struct Interval {
  double low;
  double high;
};

/// Intervals that cover a level of the trials.
struct CoverageIntervals {
  Interval symmetric;  // as many trials below it as above
  Interval shortest;
  /// Standard error of the symmetric interval's ends for the finite number of trials, from the
  /// trials next to them.
  double low_standard_error;
  double high_standard_error;
};

/// Exact order statistics, without sorting what lies between the tails.
/// @param trials  finite, 100 or more, in any order
/// @param level   in (0, 1)
/// Source: JCGM 101:2008, 7.7.
CoverageIntervals coverage_intervals(std::span<const double> trials, double level);

/// Mean, standard deviation (JCGM 101:2008, 7.6) and the standard errors of both.
struct TrialMoments {
  double mean;
  double standard_deviation;
  double mean_standard_error;
  double deviation_standard_error;
};

/// Sums in a fixed order: the same bits with every instruction set.
/// @param trials  finite, two or more
TrialMoments moments_of(std::span<const double> trials);

}  // namespace windwright::metrology
