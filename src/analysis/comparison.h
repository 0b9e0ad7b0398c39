// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "campaign/campaign.h"

#include <vector>

namespace windwright::analysis {

/// Answers the question: which combination of the compared factors' levels gives the largest
/// maximum cp, and is it more than the next by more than the expanded uncertainty of their
/// difference? Curves that differ in other hard-to-change settings count with their mean. All pairs
/// are compared; each at level 1 - (1 - level) / pairs (Bonferroni), so that all statements
/// together hold at the question's level, though the best was picked after seeing the data.
/// @param curves  not empty
/// @throws BadInput  a response other than maximum_cp
Verdict compare(const std::vector<Curve>& curves, const campaign::Question& question);

/// A value with its expanded uncertainty, both to two digits of the latter: "0.3124 +- 0.0041" with
/// a plus-minus sign; the value alone to four digits where none is stated.
std::string with_uncertainty(double value, double expanded);

}  // namespace windwright::analysis
