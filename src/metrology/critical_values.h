// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>

namespace windwright::metrology {

/// Whether only one end can hold the outlier, or either.
enum class Sides { one, two };

/// What Grubbs' G, the largest distance from the mean over the standard deviation, exceeds with
/// chance `significance` at most in a normal sample:
///
///   (n - 1) / sqrt(n) * sqrt(t^2 / (n - 2 + t^2)),
///   t Student's quantile at 1 - significance / (2 n) (two sides; n for one), n - 2 degrees
///
/// Source: F. E. Grubbs, Procedures for detecting outlying observations in samples, Technometrics
/// 11 (1969) 1-21; ISO 5725-2:1994, Table 5 (two sides). Checked in
/// tests/published/interlaboratory_test.cpp.
/// @param n             values, 3 or more
/// @param significance  in (0, 1), e.g. 0.05
/// @return              NaN outside these domains, as all functions here
double grubbs_critical(std::size_t n, double significance, Sides sides);

/// What Cochran's C, the largest of p variances over their sum, exceeds with chance `significance`:
/// 1 / (1 + (p - 1) / F), F its quantile at 1 - significance / p with n - 1 and (p - 1)(n - 1).
/// Source: ISO 5725-2:1994, 7.3.3 and Table 4. Checked as above.
/// @param p  variances, 2 or more
/// @param n  values behind each, 2 or more
double cochran_critical(std::size_t p, std::size_t n, double significance);

/// What Mandel's h of one of p groups, chosen beforehand, exceeds in size with chance
/// `significance`: (p - 1) t / sqrt(p (t^2 + p - 2)), t two-sided with p - 2 degrees of freedom.
/// Source: ISO 5725-2:1994, 7.3.1 and Table 6 (p 3 or more).
double mandel_h_critical(std::size_t p, double significance);

/// The same for Mandel's k, which is positive: sqrt(p / (1 + (p - 1) / F)), F at 1 - significance
/// with n - 1 and (p - 1)(n - 1). Source: ISO 5725-2:1994, 7.3.1 and Table 7 (p 2, n 2 or more).
double mandel_k_critical(std::size_t p, std::size_t n, double significance);

}  // namespace windwright::metrology
