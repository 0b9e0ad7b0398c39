// SPDX-License-Identifier: Apache-2.0
#include "analysis/sample_record.h"

#include "analysis/points.h"
#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "base/table.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
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

// The samples of a window that follow each other.
Stretch stretch_in(const recording::Recording& recording, const std::filesystem::path& file,
                   const Window& window) {
  const double rate_hz = recording.sample_rate_hz();
  const std::vector<Stretch> stretches = stretches_of(recording);
  const std::int64_t origin = stretches.front().device_first;
  std::optional<Stretch> found;
  for (const Stretch& each : stretches) {
    const std::int64_t skip = samples_before(each, window.from_s, origin, rate_hz);
    const std::int64_t count = samples_before(each, window.to_s, origin, rate_hz) - skip;
    if (count <= 0) continue;
    if (found) {
      throw base::BadInput(file.string(),
                           fmt::format("has a gap before {:.6g} s",
                                       static_cast<double>(each.device_first - origin) / rate_hz),
                           "a --window FROM:TO before or after it: nothing bridges a gap");
    }
    found = Stretch{
        .first = each.first + skip, .count = count, .device_first = each.device_first + skip};
  }
  if (!found || found->count < 2) {
    const Stretch& last = stretches.back();
    throw base::BadInput(
        file.string(), "has fewer than two samples in that window",
        fmt::format("FROM:TO between 0 and {:.6g} s",
                    static_cast<double>(last.device_first + last.count - origin) / rate_hz));
  }
  return *found;
}

// What lies in the window without having been recorded.
void remark_on_missing(const recording::Recording& recording, const Stretch& stretch,
                       const Window& window, std::vector<std::string>& remarks) {
  const double rate_hz = recording.sample_rate_hz();
  const std::int64_t origin = stretches_of(recording).front().device_first;
  const double first_s = static_cast<double>(stretch.device_first - origin) / rate_hz;
  const double end_s = first_s + static_cast<double>(stretch.count) / rate_hz;
  constexpr double steps = 1.5;  // less is how the window's ends fall between samples
  if (first_s <= window.from_s + steps / rate_hz && end_s >= window.to_s - steps / rate_hz) return;
  remarks.push_back(
      fmt::format("of the window {:g} s to {:g} s only {:.6g} s to {:.6g} s was recorded",
                  window.from_s, window.to_s, first_s, end_s));
}

}  // namespace

SampleRecord samples_from_recording(const std::filesystem::path& file, const std::string& channel,
                                    const std::optional<Window>& window) {
  const recording::Recording recording(file);
  constexpr double infinity = std::numeric_limits<double>::infinity();
  const Stretch stretch =
      stretch_in(recording, file, window.value_or(Window{.from_s = -infinity, .to_s = infinity}));
  SampleRecord record{
      .interval_s = 1.0 / recording.sample_rate_hz(), .channels = {}, .remarks = {}};
  if (window) remark_on_missing(recording, stretch, *window, record.remarks);
  const std::vector<std::string> names =
      channel.empty() ? recording.channels() : std::vector<std::string>{channel};
  for (const std::string& name : names) {
    if (channel.empty() && recording.note(name).certificate.empty()) {
      record.remarks.push_back(name + ": recorded without a certificate, left out");
      continue;
    }
    CalibratedChannel calibrated(recording, file, name);
    record.channels.push_back(
        {.name = name, .values = calibrated.values(stretch.first, stretch.count)});
    calibrated.remark(record.remarks);
  }
  if (record.channels.empty()) {
    throw base::BadInput(file.string(), "has no channel with a certificate",
                         "channels that were calibrated before they were recorded");
  }
  return record;
}

SampleRecord samples_from_file(const std::filesystem::path& file, const std::string& channel) {
  const base::Table table = base::Table::from_file(file);
  if (table.rows() < 2) {
    throw base::BadInput(table.header_place(), "has a single row", "two or more samples");
  }
  SampleRecord record{
      .interval_s = std::numeric_limits<double>::quiet_NaN(), .channels = {}, .remarks = {}};
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
