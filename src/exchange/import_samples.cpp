// SPDX-License-Identifier: Apache-2.0
#include "exchange/import_samples.h"

#include "base/clock.h"
#include "base/errors.h"
#include "base/json.h"
#include "base/table.h"
#include "base/text.h"
#include "base/units.h"
#include "bench/device.h"
#include "exchange/count_grid.h"
#include "metrology/certificate.h"
#include "metrology/units.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::exchange {

namespace {

constexpr std::string_view time_name = "time_s";
constexpr double uneven = 0.25;  // of a step: times written with few digits jitter
constexpr std::size_t block_samples = 4096;

/// When each row was taken, in steps from the first.
struct Clock {
  double interval_s;
  std::vector<std::int64_t> steps;  // (rows)
};

Clock clock_of(const base::Table& table) {
  const std::vector<double> time_s = table.numbers(table.required_column(time_name));
  if (time_s.size() < 2) {
    throw base::BadInput(table.header_place(), "has a single row", "two or more samples");
  }
  std::vector<double> step_s;
  for (std::size_t row = 1; row < time_s.size(); ++row) {
    step_s.push_back(time_s[row] - time_s[row - 1]);
    if (step_s.back() > 0.0) continue;
    throw base::BadInput(table.place(row), fmt::format("time_s is {}", time_s[row]),
                         "time that rises");
  }
  std::nth_element(step_s.begin(), step_s.begin() + static_cast<std::ptrdiff_t>(step_s.size() / 2),
                   step_s.end());
  const double usual_s = step_s[step_s.size() / 2];
  Clock clock{.interval_s = 0.0, .steps = {0}};
  for (std::size_t row = 1; row < time_s.size(); ++row) {
    const double steps = (time_s[row] - time_s[row - 1]) / usual_s;
    const double whole = std::round(steps);
    // Beyond this a double no longer tells one step from the next.
    constexpr double most = 0x1p53;
    if (static_cast<double>(clock.steps.back()) + whole > most) {
      throw base::BadInput(table.place(row), fmt::format("time_s is {}", time_s[row]),
                           fmt::format("at most 2^53 steps of {:g} s", usual_s));
    }
    if (whole < 1.0 || std::abs(steps - whole) > uneven) {
      throw base::BadInput(
          table.place(row), fmt::format("time_s is {}", time_s[row]),
          fmt::format("a whole number of steps of {:g} s after the row before", usual_s));
    }
    clock.steps.push_back(clock.steps.back() + static_cast<std::int64_t>(whole));
  }
  clock.interval_s = (time_s.back() - time_s.front()) / static_cast<double>(clock.steps.back());
  return clock;
}

// A rate that was meant to be round is: 1000.0000000000002 comes from decimals.
double rate_of(double interval_s) {
  const double rate_hz = 1.0 / interval_s;
  constexpr double digits = 1e9;
  const double scale = std::pow(10.0, std::floor(std::log10(rate_hz)));
  return std::round(rate_hz / scale * digits) / digits * scale;
}

std::map<std::string, std::string> units_in(const base::Table& table) {
  constexpr std::string_view mark = "unit:";
  std::map<std::string, std::string> units;
  for (std::size_t i = 0; i < table.comments().size(); ++i) {
    const std::string& comment = table.comments()[i];
    if (!comment.starts_with(mark)) continue;
    const std::string where = table.comment_place(i);
    for (const std::string& entry : base::split(comment.substr(mark.size()), ',')) {
      const auto equals = entry.find('=');
      const std::string name(base::trimmed(std::string_view(entry).substr(0, equals)));
      if (equals == std::string::npos || !table.column(name)) {
        throw base::BadInput(where, fmt::format("the comment '# {}' is not readable", comment),
                             "# unit: NAME = UNIT, ... with names of columns");
      }
      const std::string unit(base::trimmed(std::string_view(entry).substr(equals + 1)));
      metrology::require_unit_syntax(unit, where);
      // The suffix of a name is its unit, everywhere.
      const std::string wanted = base::unit_of_name(name);
      if (wanted != "1") base::require_unit(unit, wanted, where + ": " + name);
      units[name] = unit;
    }
  }
  return units;
}

void require_word(const std::string& name, const base::Table& table) {
  const auto in_word = [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '_';
  };
  constexpr std::size_t longest = 60;
  if (std::all_of(name.begin(), name.end(), in_word) && name.size() <= longest) return;
  throw base::BadInput(table.header_place(), fmt::format("column '{}' cannot name a channel", name),
                       "letters, digits and _, up to 60");
}

// From the counts of a grid back to values; nothing is known of how well they were measured.
std::string certificate_for(const recording::NewChannel& channel, const CountGrid& grid,
                            base::UtcTime date, const std::string& file) {
  namespace json = boost::json;
  const bench::Converter& converter = grid.converter;
  const json::array nothing{0.0, 0.0};
  return base::json_text(json::object{
      {"schema", 1},
      {"channel", channel.name},
      {"model", "line"},
      {"fit_of", "reading over reference"},
      {"coefficient_names", {"c0", "c1"}},
      {"unit", {{"reference", channel.note.unit}, {"reading", "V"}}},
      {"range",
       {{"reference", json::array{grid.value(converter.lower_V), grid.value(converter.upper_V)}},
        {"reading", json::array{converter.lower_V, converter.upper_V}}}},
      {"fit",
       {{"coefficients", json::array{grid.offset, grid.counts_per_unit}},
        {"standard_uncertainties", nothing},
        {"covariance", json::array{nothing, nothing}},
        {"residual_standard_deviation", 0.0},
        {"degrees_of_freedom", 1},
        {"chi_squared", nullptr},
        {"r_squared", 1.0}}},
      {"lack_of_fit_standard_deviation", 0.0},
      {"reference_standard",
       {{"name", "none: values as they stood in " + file + ", whose uncertainty is not known"},
        {"u", 0.0},
        {"u_relative", 0.0}}},
      {"u_drift", 0.0},
      {"date", base::utc_text(date)},
      {"valid_until", base::utc_text(date)},
      {"environment", ""}});
}

std::optional<base::UtcTime> start_in(const base::Table& table) {
  constexpr std::string_view mark = "start_utc:";
  for (std::size_t i = 0; i < table.comments().size(); ++i) {
    const std::string& comment = table.comments()[i];
    if (comment.starts_with(mark))
      return base::utc_from_text(base::trimmed(std::string_view(comment).substr(mark.size())),
                                 table.comment_place(i));
  }
  return std::nullopt;
}

// Blocks that end at gaps.
std::int64_t put_samples(recording::Recorder& recorder, const Clock& clock,
                         const std::vector<CountGrid>& grids) {
  std::int64_t gaps = 0;
  bench::SampleBlock block;
  block.channels = grids.size();
  for (std::size_t row = 0; row < clock.steps.size(); row += block.samples) {
    block.samples = 1;
    while (block.samples < block_samples && row + block.samples < clock.steps.size() &&
           clock.steps[row + block.samples] == clock.steps[row + block.samples - 1] + 1)
      ++block.samples;
    block.first_sample = clock.steps[row];
    block.gap_before = row > 0 && clock.steps[row] != clock.steps[row - 1] + 1;
    if (block.gap_before) ++gaps;
    block.counts.clear();
    for (const CountGrid& grid : grids) {
      const auto from = grid.counts.begin() + static_cast<std::ptrdiff_t>(row);
      block.counts.insert(block.counts.end(), from,
                          from + static_cast<std::ptrdiff_t>(block.samples));
    }
    recorder.append(block);
  }
  recorder.finish();
  return gaps;
}

}  // namespace

Imported import_samples(const ImportRequest& request) {
  const base::Table table = base::Table::from_file(request.file);
  const Clock clock = clock_of(table);
  const std::map<std::string, std::string> units = units_in(table);
  Imported imported{.samples = static_cast<std::int64_t>(table.rows()),
                    .sample_rate_hz = rate_of(clock.interval_s),
                    .gaps = 0,
                    .channels = {},
                    .remarks = {}};
  std::optional<base::UtcTime> start = request.start;
  if (!start) start = start_in(table);
  if (!start) {
    start = base::UtcTime{};
    imported.remarks.emplace_back(
        "when it was measured is not known: it starts in 1970; --start or a comment '# start_utc: "
        "2026-03-02T09:00:00Z' tells");
  }
  const std::string file = request.file.filename().string();
  std::vector<recording::NewChannel> channels;
  std::vector<CountGrid> grids;
  for (std::size_t column = 0; column < table.header().size(); ++column) {
    const std::string& name = table.header()[column];
    if (name == time_name) continue;
    require_word(name, table);
    grids.push_back(count_grid(table.numbers(column)));
    const CountGrid& grid = grids.back();
    const auto stated = units.find(name);
    const std::string unit = stated != units.end() ? stated->second : base::unit_of_name(name);
    recording::NewChannel channel{.name = name,
                                  .note = {.unit = unit,
                                           .long_name = fmt::format("{} of {}", name, file),
                                           .certificate = {},
                                           .converter = grid.converter}};
    channel.note.certificate = certificate_for(channel, grid, *start, file);
    channels.push_back(std::move(channel));
    imported.channels.push_back({.name = name,
                                 .unit = unit,
                                 .bits = grid.converter.bits,
                                 .step = 1.0 / grid.counts_per_unit,
                                 .largest_difference = grid.largest_difference});
  }
  if (channels.empty()) {
    throw base::BadInput(table.header_place(), "has no channel beside time_s",
                         "a column for every channel");
  }
  const double first_s = table.number(0, *table.column(time_name));
  const auto first = *start + std::chrono::nanoseconds(std::llround(first_s * 1e9));
  try {
    auto recorder = recording::Recorder::create(request.into, imported.sample_rate_hz, channels,
                                                {.device = "import of " + file, .start = first});
    imported.gaps = put_samples(recorder, clock, grids);
  } catch (const base::DiskFault&) {
    // The samples are still where they came from: half of them would look like all.
    std::filesystem::remove(request.into);
    throw;
  }
  return imported;
}

}  // namespace windwright::exchange
