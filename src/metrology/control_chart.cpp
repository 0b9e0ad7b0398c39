// SPDX-License-Identifier: Apache-2.0
#include "metrology/control_chart.h"

#include "base/errors.h"
#include "base/table.h"
#include "base/text.h"
#include "metrology/outliers.h"
#include "metrology/units.h"
#include "signal/statistics.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace json = boost::json;

namespace {

std::string unit_of(const base::Table& table) {
  constexpr std::string_view mark = "unit:";
  for (std::size_t i = 0; i < table.comments().size(); ++i) {
    const std::string& comment = table.comments()[i];
    if (!comment.starts_with(mark)) continue;
    std::string unit(base::trimmed(std::string_view(comment).substr(mark.size())));
    require_unit_syntax(unit, table.comment_place(i));
    return unit;
  }
  return "1";
}

void require_options(const ChartOptions& options, const std::string& where) {
  if (!(options.smoothing > 0.0 && options.smoothing <= 1.0)) {
    throw base::BadInput(where, fmt::format("smoothing {}", options.smoothing), "above 0, up to 1");
  }
  if (!(options.factor > 0.0) || !std::isfinite(options.factor)) {
    throw base::BadInput(where, fmt::format("limits at {} spreads", options.factor), "above 0");
  }
  if (options.spread && !(*options.spread > 0.0)) {
    throw base::BadInput(where, fmt::format("spread {}", *options.spread), "above 0");
  }
}

// Centre and spread, from the baseline where they are not given.
void set_centre(const CheckMeasurements& measurements, const ChartOptions& options,
                const std::string& where, ControlChart& chart) {
  const std::size_t size = measurements.value.size();
  const std::size_t baseline = options.baseline == 0 ? size : options.baseline;
  constexpr std::size_t least = 5;
  if (baseline > size || (baseline < least && !(options.centre && options.spread))) {
    throw base::BadInput(where,
                         fmt::format("a baseline of {} out of {} measurements", baseline, size),
                         "at least 5 of them, or a stated centre and spread");
  }
  const std::span<const double> first = std::span(measurements.value).first(baseline);
  chart.centre = options.centre ? *options.centre : signal::mean(first);
  chart.spread = options.spread ? *options.spread : std::sqrt(signal::variance(first));
  if (!(chart.spread > 0.0)) {
    throw base::BadInput(where, "the baseline has no scatter: all its values are the same",
                         "measurements with more digits, or a stated spread");
  }
}

std::string day(const base::UtcTime& date) {
  return base::utc_text(date).substr(0, 10);
}

void warn_of_baseline(const ChartOptions& options, ControlChart& chart) {
  if (options.centre && options.spread) return;
  const std::size_t size = options.baseline == 0 ? chart.points.size() : options.baseline;
  std::vector<double> values;
  for (const ChartPoint& point : std::span(chart.points).first(size))
    values.push_back(point.value);
  constexpr std::size_t share = 5;
  for (const GrubbsTest& suspect : suspects(values, size / share)) {
    if (suspect.standing != Standing::outlier) continue;
    chart.warnings.push_back(fmt::format(
        "{:.6g} of {} is an outlier of the baseline (Grubbs, G {:.2f} above {:.2f}): the limits "
        "are too wide until its cause is found and it is left out",
        suspect.value, day(chart.points[suspect.index].date), suspect.g, suspect.critical_1pct));
  }
}

void warn_of_earlier(ControlChart& chart) {
  std::string days;
  std::size_t count = 0;
  for (const ChartPoint& point : std::span(chart.points).first(chart.points.size() - 1)) {
    if (!point.is_out && !point.average_is_out) continue;
    constexpr std::size_t most = 5;
    if (++count <= most) days += (count > 1 ? ", " : "") + day(point.date);
    if (count == most + 1) days += ", ...";
  }
  if (count == 0) return;
  chart.warnings.push_back(
      fmt::format("{} earlier {} out of control ({}): results since then rest on a sensor that was "
                  "not what it should be",
                  count, count == 1 ? "point was" : "points were", days));
}

}  // namespace

CheckMeasurements check_measurements_from_file(const std::filesystem::path& file) {
  const base::Table table = base::Table::from_file(file);
  const std::size_t date = table.required_column("date");
  const std::size_t measured = table.required_column("measured");
  const auto reference = table.column("reference");
  for (const std::string& name : table.header()) {
    if (name == "date" || name == "measured" || name == "reference") continue;
    throw base::BadInput(table.header_place(), fmt::format("column '{}' is unknown", name),
                         "date, measured or reference");
  }
  CheckMeasurements result{.date = {}, .value = {}, .unit = unit_of(table)};
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const base::UtcTime time = base::utc_from_text(table.text(row, date), table.place(row));
    if (!result.date.empty() && time < result.date.back()) {
      throw base::BadInput(table.place(row), "the date is before that of the row above",
                           "rows in the order of time");
    }
    result.date.push_back(time);
    result.value.push_back(table.number(row, measured) -
                           (reference ? table.number(row, *reference) : 0.0));
  }
  return result;
}

ControlChart control_chart(const CheckMeasurements& measurements, const ChartOptions& options,
                           const std::string& where) {
  require_options(options, where);
  ControlChart chart{.centre = 0.0,
                     .spread = 0.0,
                     .lower = 0.0,
                     .upper = 0.0,
                     .average_limit = 0.0,
                     .points = {},
                     .in_control = true,
                     .out = 0,
                     .warnings = {}};
  set_centre(measurements, options, where, chart);
  const double limit = options.factor * chart.spread;
  chart.lower = chart.centre - limit;
  chart.upper = chart.centre + limit;
  const double share = options.smoothing / (2.0 - options.smoothing);
  chart.average_limit = limit * std::sqrt(share);
  double average = chart.centre;
  double remembered = 1.0;  // (1 - smoothing)^(2 i)
  for (std::size_t i = 0; i < measurements.value.size(); ++i) {
    const double value = measurements.value[i];
    average = options.smoothing * value + (1.0 - options.smoothing) * average;
    remembered *= std::pow(1.0 - options.smoothing, 2);
    const double average_limit = limit * std::sqrt(share * (1.0 - remembered));
    const ChartPoint point{.date = measurements.date[i],
                           .value = value,
                           .average = average,
                           .average_limit = average_limit,
                           .is_out = std::abs(value - chart.centre) > limit,
                           .average_is_out = std::abs(average - chart.centre) > average_limit};
    chart.in_control = !point.is_out && !point.average_is_out;
    chart.out += chart.in_control ? 0 : 1;
    chart.points.push_back(point);
  }
  warn_of_baseline(options, chart);
  warn_of_earlier(chart);
  return chart;
}

json::value to_json(const ControlChart& chart, const std::string& unit) {
  json::array points;
  for (const ChartPoint& point : chart.points) {
    points.push_back(json::object{{"date", base::utc_text(point.date)},
                                  {"value", point.value},
                                  {"average", point.average},
                                  {"average_limit", point.average_limit},
                                  {"is_out", point.is_out},
                                  {"average_is_out", point.average_is_out}});
  }
  return json::object{{"unit", unit},
                      {"centre", chart.centre},
                      {"spread", chart.spread},
                      {"lower_limit", chart.lower},
                      {"upper_limit", chart.upper},
                      {"average_limit", chart.average_limit},
                      {"in_control", chart.in_control},
                      {"points_out", chart.out},
                      {"warnings", json::array(chart.warnings.begin(), chart.warnings.end())},
                      {"points", points}};
}

}  // namespace windwright::metrology
