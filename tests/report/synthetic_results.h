// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "campaign/conductor.h"

namespace windwright::report {

/// Results of a made-up run: four curves (2 and 3 blades, two pitches) of 16 points each, with
/// uncertainties that share systematic inputs, theory, budget and verdict.
analysis::Results synthetic_results();
/// The run that belongs to them.
campaign::Run synthetic_run();
/// One curve of points measured elsewhere, whose source states no uncertainty.
analysis::Results synthetic_foreign_results();

}  // namespace windwright::report
