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
  std::string where;  // `file:line` of the key that names it
  std::string file;   // as it was found; the same for inputs of one file
  std::vector<double> readings;
  double mean;
  double standard_uncertainty;  // of the mean: JCGM 100:2008, 4.2.3, or of readings that follow
                                // each other (signal::mean_of_correlated)
  double degrees_of_freedom;
  bool correlated_in_time;
  double lag_one;  // autocorrelation coefficient of neighbours
};

/// The file that `data` names beside the budget; `column`, or the one called like the input, or the
/// only one.
/// `correlated_in_time = true`: readings follow each other in time too closely to be independent.
/// @throws BadInput  no such file or column; fewer than two readings, or all of them equal
BudgetColumn budget_column(const base::Settings& input, const std::string& name);

/// True where another input takes its readings from the same file.
bool shares_file(std::span<const std::optional<BudgetColumn>> columns, std::size_t input);

/// What is to be said of readings that were taken as independent and do not look it: their
/// neighbours' autocorrelation is above 2/sqrt(n), ten readings or more. Empty: nothing.
std::string independence_remark(const BudgetColumn& column, const std::string& name);

/// Inputs of one file as groups: rows were read together, so the means are correlated as they are.
/// @throws BadInput  one of them is correlated in time: its rows are not independent sets
std::vector<InputGroup> data_groups(std::span<const std::optional<BudgetColumn>> columns);

}  // namespace windwright::metrology
