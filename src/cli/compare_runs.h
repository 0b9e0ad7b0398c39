// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/run_comparison.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// Comparison of runs, by folder, and of points files.
struct RunsRequest {
  std::vector<std::string> what;
  std::string rotor;  // of the points files
  std::optional<double> section_area_m2;
  bool same_sensors;
  bool json;
};

/// The runs, reduced, with what made their errors.
/// @throws BadInput  no rotor for points files; as reduce
std::vector<analysis::RunToCompare> runs_of(const RunsRequest& request);

/// @return  exit code: 1 where two runs differ by more than the uncertainty of their difference
int compare_runs(const RunsRequest& request);

}  // namespace windwright::cli
