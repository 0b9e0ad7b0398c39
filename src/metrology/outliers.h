// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

/// What ISO 5725-2 calls a value that a test finds too far out: a straggler beyond the 5 % point,
/// an outlier beyond the 1 % point.
enum class Standing { unsuspicious, straggler, outlier };

/// In words: "straggler", ...
const char* text_of(Standing standing);

/// Which end of a sample is looked at; `either` takes the value farthest from the mean.
enum class End { either, upper, lower };

struct GrubbsTest {
  std::size_t index;  // of the suspect among the values
  double value;
  double g;  // distance from the mean over the standard deviation
  double critical_5pct;
  double critical_1pct;
  Standing standing;
};

/// Grubbs' test of one value, two-sided for `either`, else one-sided. Constant values give G = 0.
/// Values that follow each other closely count as independent here, which makes the test careful:
/// their largest deviation is smaller than that of as many independent ones.
/// @param values  3 or more, normal but for the suspect
/// @throws BadInput  fewer, or not finite
/// Source: Grubbs (1969); critical_values.h.
GrubbsTest grubbs(std::span<const double> values, End end = End::either);

/// One of several suspects, in the order in which they were set aside.
using Suspects = std::vector<GrubbsTest>;

/// All outliers of one sample, found together so that several do not hide each other: the farthest
/// value is set aside up to `at_most` times, each step with Grubbs' two-sided statistic of what is
/// left; all up to the last step that exceeds its 5 % (stragglers) or 1 % point (outliers) count.
/// Of fewer than 25 values one is looked for, which is Grubbs' test. The search ends where the
/// farthest lies within one and a half of the least step between different values: a coarse
/// instrument shows neighbouring steps whatever the scatter is, and they are no evidence.
/// Nothing is removed: the caller shows them and decides.
/// Source: B. Rosner, Percentage points for a generalized ESD many-outlier procedure, Technometrics
/// 25 (1983) 165-172.
/// @param values   3 or more
/// @param at_most  suspects looked for; fewer where values run out (three must be left)
/// @throws BadInput  as grubbs
Suspects suspects(std::span<const double> values, std::size_t at_most);

}  // namespace windwright::metrology
