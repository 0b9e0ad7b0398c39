// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/outliers.h"
#include "metrology/steady_state.h"
#include "signal/statistics.h"

#include <cstddef>
#include <optional>
#include <span>

namespace windwright::metrology {

/// What evenly spaced samples of one channel say before anything is made of them.
struct SampleStatistics {
  std::size_t count;
  signal::CorrelatedMean mean;  // with type A uncertainty of samples that follow each other
  double standard_deviation;    // of the samples
  double least;
  double largest;
  /// In steps between samples: the sum of the autocorrelation from lag 0 on, half of lag 0 taken.
  /// Twice as long apart, samples are as good as independent. At least 1/2; of long records on the
  /// safe side, about a tenth too long.
  double integral_steps;
  /// Standard deviation over mean: of an air speed, its turbulence intensity. NaN for a mean of 0.
  double intensity;
  Drift drift;                      // over the whole record, from its 60 or fewer block means
  std::optional<GrubbsTest> upper;  // largest value, one-sided; nothing below three samples
  std::optional<GrubbsTest> lower;  // least value, one-sided
  Suspects suspects;  // two-sided, farthest first; at most n / 10 and 10; never taken out
};

/// @param samples  two or more, evenly spaced, in time
/// @param rule     when the record counts as settled
/// @throws BadInput  fewer, or not finite
/// Source: as signal::mean_of_correlated, drift_over and suspects; integral scale u^2 n / (2 s^2),
/// H. Tennekes, J. L. Lumley, A First Course in Turbulence (1972), 6.4. docs/theory/uncertainty.md.
SampleStatistics sample_statistics(std::span<const double> samples, const SettlingRule& rule);

}  // namespace windwright::metrology
