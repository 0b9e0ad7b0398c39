// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/measurement_model.h"

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::metrology {

/// An uncertainty budget as a file states it.
struct BudgetFile {
  std::string title;  // empty where there is none
  MeasurementModel model;
  std::vector<std::string> input_units;   // (inputs), UDUNITS; empty where not stated
  std::vector<std::string> output_units;  // (outputs)
  /// (inputs), in words: "rectangular", "5 readings of v.csv".
  std::vector<std::string> knowledge;
  std::vector<std::string> remarks;  // what a reader must know about the inputs
};

/// budget.toml, docs/propagate.md. Inputs that name one data file are taken together, row by row:
/// their means are correlated as the rows say (JCGM 100:2008, 4.2 and 5.2.3).
/// @throws BadInput  with file and line: keys missing, unknown or outside their bounds; what is
///                   said twice or not at all about an input; equations (see compiled());
///                   correlations that contradict each other; a data file with too few rows
BudgetFile budget_from_file(const std::filesystem::path& file);

}  // namespace windwright::metrology
