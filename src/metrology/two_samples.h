// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

namespace windwright::metrology {

/// Student's test of the means of two samples.
struct TwoSampleTest {
  double difference;  // mean of the first less mean of the second
  double t;           // over its standard error; where neither sample scatters 0 or infinite
  double dof;         // effective
  double p;           // chance of a |t| this large where the means are the same; 0 for means
                      // that differ without any scatter
};

/// Both samples scatter alike: one pooled variance.
/// Source: Johnson, Miller and Freund's Probability and Statistics for Engineers, chapter 8.
/// Checked in tests/published/two_samples_test.cpp.
/// @param a, b  two values each, finite; else all fields are NaN
TwoSampleTest pooled_test(std::span<const double> a, std::span<const double> b);
/// Each has its own variance (Welch, Biometrika 34 (1947) 28).
TwoSampleTest welch_test(std::span<const double> a, std::span<const double> b);

}  // namespace windwright::metrology
