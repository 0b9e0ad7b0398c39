// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "bench/bench.h"
#include "metrology/estimate.h"

#include <vector>

namespace windwright::analysis {

/// The inputs of an estimate, gathered into lines that a reader can act on (a sensor's calibration
/// curve, its standard, the scatter of the samples, ...), largest share first; shares add to 100 %.
/// @param bench  for the channels' names in words; may be null
std::vector<BudgetLine> budget_of(const metrology::Estimate& estimate, const bench::Bench* bench);

}  // namespace windwright::analysis
