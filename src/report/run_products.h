// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "campaign/conductor.h"

#include <optional>
#include <string>

namespace windwright::report {

/// Reduces a run and writes `points.csv`, `curves.csv` and `results.json` into its folder, each as
/// a whole. The verbs `conduct` and `reduce` share it, so both give the same files.
/// @throws BadInput  a run without test points, or damaged
analysis::Results reduce_run(const campaign::Run& run);

/// Writes `report.html` into the folder of a run, and `report.pdf` where wanted. The verbs
/// `conduct` and `report` share it.
/// @return  why there is no PDF though it was wanted; nothing where all went well
std::optional<std::string> report_run(const campaign::Run& run, const analysis::Results& results,
                                      bool pdf);

}  // namespace windwright::report
