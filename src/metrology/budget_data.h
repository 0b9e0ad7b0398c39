// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "metrology/measurement_model.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

/// Repeated readings of one input: a column of a CSV file.
struct BudgetColumn {
  std::string file;  // as it was found; the same for inputs of one file
  std::vector<double> readings;
  double mean;
  double standard_uncertainty;  // of the mean: JCGM 100:2008, 4.2.3

  double degrees_of_freedom() const { return static_cast<double>(readings.size()) - 1.0; }
};

/// The file that `data` names beside the budget; `column`, or the one called like the input, or the
/// only one.
/// @throws BadInput  no such file or column; fewer than two readings, or all of them equal
BudgetColumn budget_column(const base::Settings& input, const std::string& name);

/// True where another input takes its readings from the same file.
bool shares_file(std::span<const std::optional<BudgetColumn>> columns, std::size_t input);

/// Inputs of one file as groups: rows were read together, so the means are correlated as they are.
std::vector<InputGroup> data_groups(std::span<const std::optional<BudgetColumn>> columns);

}  // namespace windwright::metrology
