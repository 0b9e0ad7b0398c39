// SPDX-License-Identifier: Apache-2.0
#include "analysis/sample_record.h"

#include "base/errors.h"
#include "base/table.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {

namespace {

double even_interval_s(const base::Table& table, std::size_t column) {
  const std::vector<double> time_s = table.numbers(column);
  const double interval_s =
      (time_s.back() - time_s.front()) / static_cast<double>(time_s.size() - 1);
  // Times written with few digits jitter (0.3, 0.7, 1.0); a step off by more is no rounding.
  constexpr double rounding = 0.25;
  for (std::size_t row = 0; row < time_s.size(); ++row) {
    const double even_s = time_s.front() + interval_s * static_cast<double>(row);
    const double step_s = row == 0 ? interval_s : time_s[row] - time_s[row - 1];
    if (interval_s > 0.0 && std::abs(time_s[row] - even_s) < 0.5 * interval_s &&
        std::abs(step_s - interval_s) < rounding * interval_s)
      continue;
    throw base::BadInput(table.place(row), fmt::format("time_s is {}", time_s[row]),
                         "time that rises in even steps, a missing sample told by a new file");
  }
  return interval_s;
}

}  // namespace

SampleRecord samples_from_file(const std::filesystem::path& file, const std::string& channel) {
  const base::Table table = base::Table::from_file(file);
  if (table.rows() < 2) {
    throw base::BadInput(table.header_place(), "has a single row", "two or more samples");
  }
  SampleRecord record{.interval_s = std::numeric_limits<double>::quiet_NaN(), .channels = {}};
  const auto time = table.column("time_s");
  if (time) record.interval_s = even_interval_s(table, *time);
  if (!channel.empty()) static_cast<void>(table.required_column(channel));
  for (std::size_t column = 0; column < table.header().size(); ++column) {
    const std::string& name = table.header()[column];
    if (column == time || (!channel.empty() && name != channel)) continue;
    record.channels.push_back({.name = name, .values = table.numbers(column)});
  }
  if (record.channels.empty()) {
    throw base::BadInput(table.header_place(), "has no channel beside time_s",
                         "a column for every channel");
  }
  return record;
}

}  // namespace windwright::analysis
