// SPDX-License-Identifier: Apache-2.0
#include "metrology/budget_data.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/table.h"
#include "base/text.h"
#include "metrology/measurement_model.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

namespace {

using base::BadInput;

std::size_t column_of(const base::Table& table, const base::Settings& input,
                      const std::string& name) {
  const std::string wanted = input.text_or("column", name);
  const std::optional<std::size_t> found = table.column(wanted);
  if (found) return *found;
  if (!input.has("column") && table.header().size() == 1) return 0;
  throw BadInput(input.has("column") ? input.place("column") : input.place("data"),
                 fmt::format("{} has no column '{}'", table.file(), wanted),
                 "column = " + base::either_of(table.header()));
}

double correlation(const BudgetColumn& a, const BudgetColumn& b) {
  double aa = 0.0;
  double bb = 0.0;
  double ab = 0.0;
  for (std::size_t k = 0; k < a.readings.size(); ++k) {
    const double da = a.readings[k] - a.mean;
    const double db = b.readings[k] - b.mean;
    aa += da * da;
    bb += db * db;
    ab += da * db;
  }
  return std::clamp(ab / std::sqrt(aa * bb), -1.0, 1.0);
}

}  // namespace

BudgetColumn budget_column(const base::Settings& input, const std::string& name) {
  const std::filesystem::path folder =
      input.file().has_parent_path() ? input.file().parent_path() : std::filesystem::path(".");
  const std::string where = input.place("data");
  const std::filesystem::path file = base::named_file(folder, folder, input.text("data"), where);
  const base::Table table = base::Table::from_file(file);
  BudgetColumn column{.where = where,
                      .file = file.string(),
                      .readings = table.numbers(column_of(table, input, name)),
                      .mean = 0.0,
                      .standard_uncertainty = 0.0,
                      .degrees_of_freedom = 0.0,
                      .correlated_in_time = false,
                      .lag_one = 0.0};
  if (column.readings.size() < 2)
    throw BadInput(where, fmt::format("{} has one reading of '{}'", column.file, name),
                   "two or more; ten or more for a trustworthy scatter");
  column.correlated_in_time = input.flag_or("correlated_in_time", false);
  column.lag_one = signal::autocorrelation(column.readings, 1);
  const signal::CorrelatedMean mean = column.correlated_in_time
                                          ? signal::mean_of_correlated(column.readings)
                                          : signal::mean_of_independent(column.readings);
  column.mean = mean.mean;
  column.standard_uncertainty = mean.u;
  column.degrees_of_freedom = mean.dof;
  if (!(column.standard_uncertainty > 0.0))
    throw BadInput(where, fmt::format("all readings of '{}' in {} are equal", name, column.file),
                   "value, and half of the instrument's step as half_width of a rectangular "
                   "distribution");
  return column;
}

std::string independence_remark(const BudgetColumn& column, const std::string& name) {
  const auto n = static_cast<double>(column.readings.size());
  if (column.correlated_in_time || n < 10.0 || column.lag_one <= 2.0 / std::sqrt(n)) return {};
  return fmt::format(
      "The {} readings of {} follow each other (autocorrelation {:.2f} from one to the next), but "
      "are taken as independent: u is too small. correlated_in_time = true counts it.",
      column.readings.size(), name, column.lag_one);
}

bool shares_file(std::span<const std::optional<BudgetColumn>> columns, std::size_t input) {
  return std::ranges::count_if(columns, [&](const std::optional<BudgetColumn>& one) {
           return one && one->file == columns[input]->file;
         }) > 1;
}

std::vector<InputGroup> data_groups(std::span<const std::optional<BudgetColumn>> columns) {
  std::vector<InputGroup> groups;
  std::vector<bool> done(columns.size(), false);
  for (std::size_t i = 0; i < columns.size(); ++i) {
    if (!columns[i] || done[i]) continue;
    InputGroup group;
    for (std::size_t k = i; k < columns.size(); ++k) {
      if (columns[k] && columns[k]->file == columns[i]->file) group.members.push_back(k);
    }
    for (const std::size_t member : group.members)
      done[member] = true;
    for (const std::size_t member : group.members) {
      if (group.members.size() > 1 && columns[member]->correlated_in_time)
        throw BadInput(columns[member]->where,
                       "several inputs read together from one file are correlated in time",
                       "a file for each input, and their correlation as [[correlation]]");
    }
    const std::size_t size = group.members.size();
    if (size < 2) continue;
    for (const std::size_t a : group.members) {
      for (const std::size_t b : group.members)
        group.correlation.push_back(a == b ? 1.0 : correlation(*columns[a], *columns[b]));
    }
    group.shared_degrees_of_freedom = columns[i]->degrees_of_freedom;
    groups.push_back(group);
  }
  return groups;
}

}  // namespace windwright::metrology
