// SPDX-License-Identifier: Apache-2.0
#include "metrology/readings.h"

#include "base/errors.h"
#include "base/table.h"
#include "base/text.h"
#include "metrology/units.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr std::string_view unit_comment = "unit:";

void read_unit_comment(std::string_view comment, ReadingsFile& result, const std::string& where) {
  for (const std::string& entry : base::split(comment.substr(unit_comment.size()), ',')) {
    const auto equals = entry.find('=');
    const std::string_view name = base::trimmed(std::string_view(entry).substr(0, equals));
    if (equals == std::string::npos || (name != "reference" && name != "reading")) {
      throw base::BadInput(where, fmt::format("the comment '# {}' is not readable", comment),
                           "# unit: reference = m s-1, reading = V");
    }
    const std::string unit(base::trimmed(std::string_view(entry).substr(equals + 1)));
    require_unit_syntax(unit, where);
    result.unit_where = where;
    (name == "reference" ? result.reference_unit : result.reading_unit) = unit;
  }
}

std::vector<double> uncertainties(const base::Table& table, std::string_view name) {
  const auto column = table.column(name);
  if (!column) return {};
  std::vector<double> values = table.numbers(*column);
  for (std::size_t row = 0; row < values.size(); ++row) {
    if (values[row] > 0.0) continue;
    throw base::BadInput(table.place(row), fmt::format("{} is {}", name, values[row]),
                         "a standard uncertainty above 0, or no such column");
  }
  return values;
}

std::vector<int> repeats(const base::Table& table) {
  std::vector<int> result;
  const auto column = table.column("repeat");
  if (!column) return result;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double value = table.number(row, *column);
    constexpr double most = 1e6;
    if (value < 1.0 || value > most || value != std::floor(value)) {
      throw base::BadInput(table.place(row), fmt::format("repeat is {}", value),
                           "a whole number from 1");
    }
    result.push_back(static_cast<int>(value));
  }
  return result;
}

std::vector<Direction> directions(const base::Table& table) {
  std::vector<Direction> result;
  const auto column = table.column("direction");
  if (!column) return result;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const std::string& direction = table.text(row, *column);
    if (direction != "up" && direction != "down") {
      throw base::BadInput(table.place(row), fmt::format("direction is '{}'", direction),
                           "up or down");
    }
    result.push_back(direction == "up" ? Direction::up : Direction::down);
  }
  return result;
}

std::vector<double> correlations(const base::Table& table) {
  const auto column = table.column("correlation");
  if (!column) return {};
  std::vector<double> values = table.numbers(*column);
  for (std::size_t row = 0; row < values.size(); ++row) {
    if (std::abs(values[row]) < 1.0) continue;
    throw base::BadInput(table.place(row), fmt::format("correlation is {}", values[row]),
                         "between -1 and 1");
  }
  if (!table.column("u_reference") || !table.column("u_reading")) {
    throw base::BadInput(table.header_place(), "correlation of uncertainties that are not there",
                         "columns u_reference and u_reading beside it");
  }
  return values;
}

}  // namespace

ReadingsFile readings_from_file(const std::filesystem::path& file) {
  const base::Table table = base::Table::from_file(file);
  const std::vector<std::string> names{"reference",   "reading", "u_reference", "u_reading",
                                       "correlation", "repeat",  "direction"};
  for (const std::string& name : table.header()) {
    if (std::find(names.begin(), names.end(), name) != names.end()) continue;
    throw base::BadInput(table.header_place(), fmt::format("column '{}' is unknown", name),
                         base::either_of(names));
  }
  ReadingsFile result{.readings = {.reference = table.numbers(table.required_column("reference")),
                                   .reading = table.numbers(table.required_column("reading")),
                                   .u_reference = uncertainties(table, "u_reference"),
                                   .u_reading = uncertainties(table, "u_reading"),
                                   .correlation = correlations(table)},
                      .repeat = repeats(table),
                      .reference_unit = "1",
                      .reading_unit = "1",
                      .where = table.header_place(),
                      .unit_where = table.header_place(),
                      .direction = directions(table)};
  for (std::size_t i = 0; i < table.comments().size(); ++i) {
    const std::string& comment = table.comments()[i];
    if (comment.starts_with(unit_comment))
      read_unit_comment(comment, result, table.comment_place(i));
  }
  return result;
}

std::vector<double> covariance_from_file(const std::filesystem::path& file, std::size_t readings) {
  const base::Table table = base::Table::from_file(file);
  const std::size_t size = table.header().size();
  if (size != table.rows() || (size != readings && size != 2 * readings)) {
    throw base::BadInput(
        table.header_place(), fmt::format("{} rows of {} numbers", table.rows(), size),
        fmt::format("{0} rows of {0} for the readings, or {1} rows of {1} for references and "
                    "readings",
                    readings, 2 * readings));
  }
  std::vector<double> values;
  for (std::size_t row = 0; row < size; ++row) {
    for (std::size_t column = 0; column < size; ++column)
      values.push_back(table.number(row, column));
  }
  return values;
}

std::string readings_csv(const ReadingsFile& file, const std::vector<std::string>& comments) {
  std::string text;
  for (const std::string& comment : comments)
    text += fmt::format("# {}\n", comment);
  text += fmt::format("# {} reference = {}, reading = {}\n", unit_comment, file.reference_unit,
                      file.reading_unit);
  const Readings& readings = file.readings;
  text += "reference,reading";
  if (!readings.u_reference.empty()) text += ",u_reference";
  if (!readings.u_reading.empty()) text += ",u_reading";
  if (!file.repeat.empty()) text += ",repeat";
  text += '\n';
  for (std::size_t i = 0; i < readings.reference.size(); ++i) {
    text += base::number_text(readings.reference[i]) + ',' + base::number_text(readings.reading[i]);
    if (!readings.u_reference.empty()) text += ',' + base::number_text(readings.u_reference[i]);
    if (!readings.u_reading.empty()) text += ',' + base::number_text(readings.u_reading[i]);
    if (!file.repeat.empty()) text += fmt::format(",{}", file.repeat[i]);
    text += '\n';
  }
  return text;
}

}  // namespace windwright::metrology
