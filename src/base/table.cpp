// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::base {

Table Table::from_file(const std::filesystem::path& file) {
  return from_text(text_of_file(file), file.string());
}

Table Table::from_text(std::string_view text, std::string file) {
  Table table;
  table.file_ = std::move(file);
  std::size_t line = 0;
  while (!text.empty()) {
    ++line;
    const auto end = text.find('\n');
    const std::string_view body = trimmed(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (body.empty()) continue;
    if (body.front() == '#') {
      table.comments_.emplace_back(trimmed(body.substr(1)));
      table.comment_lines_.push_back(line);
      continue;
    }
    std::vector<std::string> cells = split(body, ',');
    for (std::string& cell : cells)
      cell = std::string(trimmed(cell));
    if (table.header_.empty()) {
      table.header_ = std::move(cells);
      table.header_line_ = line;
      continue;
    }
    if (cells.size() != table.header_.size()) {
      throw BadInput(fmt::format("{}:{}", table.file_, line),
                     fmt::format("the row has {} fields", cells.size()),
                     fmt::format("{} fields, as in the header", table.header_.size()));
    }
    table.lines_.push_back(line);
    std::move(cells.begin(), cells.end(), std::back_inserter(table.cells_));
  }
  if (table.header_.empty()) {
    throw BadInput(table.file_ + ":1", "has no header line", "a first line with the column names");
  }
  for (auto name = table.header_.begin(); name != table.header_.end(); ++name) {
    if (name->empty() || std::find(table.header_.begin(), name, *name) != name) {
      throw BadInput(table.header_place(),
                     fmt::format("column name '{}' is empty or stands twice", *name),
                     "a name of its own for every column");
    }
  }
  if (table.rows() == 0) {
    throw BadInput(table.header_place(), "has a header but no rows", "at least one row");
  }
  return table;
}

std::optional<std::size_t> Table::column(std::string_view name) const {
  const auto found = std::find(header_.begin(), header_.end(), name);
  if (found == header_.end()) return std::nullopt;
  return static_cast<std::size_t>(found - header_.begin());
}

std::size_t Table::required_column(std::string_view name) const {
  if (const auto found = column(name)) return *found;
  throw BadInput(header_place(), fmt::format("column '{}' is missing", name),
                 fmt::format("a column of that name beside {}", fmt::join(header_, ", ")));
}

const std::string& Table::text(std::size_t row, std::size_t column) const {
  return cells_[row * header_.size() + column];
}

double Table::number(std::size_t row, std::size_t column) const {
  if (const auto value = number_from_text(text(row, column))) {
    constexpr double largest = 1e60;  // sums of fourth powers still fit a double
    if (std::abs(*value) <= largest) return *value;
    throw BadInput(place(row), fmt::format("{} is {}", header_[column], *value),
                   fmt::format("a number of at most {} in size", largest));
  }
  throw BadInput(place(row), fmt::format("{} is '{}'", header_[column], text(row, column)),
                 "a finite decimal number");
}

std::vector<double> Table::numbers(std::size_t column) const {
  std::vector<double> values(rows());
  for (std::size_t row = 0; row < values.size(); ++row)
    values[row] = number(row, column);
  return values;
}

std::string Table::place(std::size_t row) const {
  return fmt::format("{}:{}", file_, lines_[row]);
}

std::string Table::comment_place(std::size_t index) const {
  return fmt::format("{}:{}", file_, comment_lines_[index]);
}

std::string Table::header_place() const {
  return fmt::format("{}:{}", file_, header_line_);
}

}  // namespace windwright::base
