// SPDX-License-Identifier: Apache-2.0
#include "exchange/export_recording.h"

#include "analysis/channel_window.h"
#include "analysis/clock_drift.h"
#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "base/text.h"
#include "base/units.h"
#include "bench/bench.h"
#include "exchange/value_table.h"
#include "metrology/certificate.h"
#include "recording/cf_names.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

namespace windwright::exchange {

namespace {

namespace fs = std::filesystem;
using analysis::Stretch;

constexpr std::int64_t rows_at_once = 65536;

/// One channel of a recording: its values, or its readings where it has no certificate.
struct Source {
  std::string channel;
  recording::ChannelNote note;
  std::optional<metrology::Certificate> certificate;

  std::string name() const {
    return certificate ? channel : base::without_unit(channel) + "_reading_V";
  }
  std::string unit() const { return certificate ? note.unit : "V"; }
  std::string long_name() const {
    return certificate ? note.long_name
                       : note.long_name + ", volts at the converter: it had no certificate";
  }
};

std::vector<Source> sources_of(const recording::Recording& recording,
                               const ExportRequest& request) {
  std::vector<Source> sources;
  for (const std::string& channel :
       request.channels.empty() ? recording.channels() : request.channels) {
    Source source{.channel = channel, .note = recording.note(channel), .certificate = std::nullopt};
    if (!source.note.certificate.empty()) {
      source.certificate = metrology::certificate_from_text(
          source.note.certificate,
          fmt::format("{}: certificate of {}", request.file.string(), channel));
    }
    const bool twice = std::any_of(sources.begin(), sources.end(),
                                   [&](const Source& other) { return other.channel == channel; });
    if (!twice) sources.push_back(std::move(source));
  }
  return sources;
}

// The part of each stretch that the window holds.
std::vector<Stretch> stretches_in(const recording::Recording& recording,
                                  const ExportRequest& request) {
  const double rate_hz = recording.sample_rate_hz();
  const std::vector<Stretch> all = analysis::stretches_of(recording);
  const std::int64_t origin = all.front().device_first;
  std::vector<Stretch> wanted;
  for (const Stretch& each : all) {
    const std::int64_t skip = analysis::samples_before(each, request.from_s, origin, rate_hz);
    const std::int64_t end = analysis::samples_before(each, request.to_s, origin, rate_hz);
    if (skip < end) {
      wanted.push_back({.first = each.first + skip,
                        .count = end - skip,
                        .device_first = each.device_first - origin + skip});
    }
  }
  if (!wanted.empty()) return wanted;
  const Stretch& last = all.back();
  throw base::BadInput(
      request.file.string() + ":1", "has no sample in that window",
      recording.samples() == 0
          ? "a recording with samples"
          : fmt::format("--from and --to between 0 and {:.6g}",
                        static_cast<double>(last.device_first + last.count - origin) / rate_hz));
}

TableHead head_of(const recording::Recording& recording, const std::vector<Stretch>& stretches,
                  const fs::path& file) {
  TableHead head{.title = recording.device(),
                 .source = file.filename().string(),
                 .start = recording.start(),
                 .sample_rate_hz = recording.sample_rate_hz(),
                 .clock = analysis::clock_drift(recording.clock(), recording.gaps()),
                 .rows = 0,
                 .columns = {{.name = "time_s",
                              .unit = "s",
                              .long_name = "time since the first sample of the recording",
                              .standard_name = {},
                              .cell_method = {}}},
                 .gaps = {}};
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    head.rows += stretches[i].count;
    if (i == 0) continue;
    const Stretch& before = stretches[i - 1];
    head.gaps.push_back(
        {.at_s = static_cast<double>(stretches[i].device_first) / recording.sample_rate_hz(),
         .samples = stretches[i].device_first - before.device_first - before.count});
  }
  return head;
}

Column column_of(const Source& source) {
  return {.name = source.name(),
          .unit = source.unit(),
          .long_name = source.long_name(),
          .standard_name = source.certificate
                               ? std::string(recording::cf_standard_name(source.channel))
                               : std::string(),
          .cell_method = {}};
}

// What a slow channel is held at between its own samples is no measurement.
void leave_own(std::int64_t every, std::int64_t first, std::span<double> values) {
  if (every == 1) return;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if ((first + static_cast<std::int64_t>(i)) % every != 0)
      values[i] = std::numeric_limits<double>::quiet_NaN();
  }
}

void write_samples(const recording::Recording& recording, const std::vector<Source>& sources,
                   const std::vector<Stretch>& stretches, TableWriter& writer) {
  std::vector<std::vector<double>> columns(sources.size() + 1);
  for (const Stretch& stretch : stretches) {
    for (std::int64_t done = 0; done < stretch.count; done += rows_at_once) {
      const std::int64_t count = std::min(rows_at_once, stretch.count - done);
      columns[0].resize(static_cast<std::size_t>(count));
      for (std::int64_t i = 0; i < count; ++i)
        columns[0][static_cast<std::size_t>(i)] =
            static_cast<double>(stretch.device_first + done + i) / recording.sample_rate_hz();
      for (std::size_t k = 0; k < sources.size(); ++k) {
        const auto counts = recording.counts(sources[k].channel, stretch.first + done, count);
        std::vector<double>& values = columns[k + 1];
        values.resize(counts.size());
        std::transform(counts.begin(), counts.end(), values.begin(), [&](std::int32_t each) {
          return bench::volts(sources[k].note.converter, each);
        });
        if (sources[k].certificate) metrology::values_of(*sources[k].certificate, values, values);
        leave_own(sources[k].note.every, stretch.first + done, values);
      }
      writer.write(columns);
    }
  }
}

/// What the bins of a channel are made of: the word before its name, the CF cell method.
struct Figure {
  const char* word;
  const char* cell_method;
  double analysis::ViewBin::* value;
};
constexpr Figure figures[] = {
    {"min", "time: minimum", &analysis::ViewBin::lowest},
    {"max", "time: maximum", &analysis::ViewBin::highest},
    {"mean", "time: mean", &analysis::ViewBin::mean},
    {"deviation", "time: standard_deviation", &analysis::ViewBin::deviation}};

// Everything at once: there are few.
std::vector<std::vector<double>> bins_of(const recording::Recording& recording,
                                         const ExportRequest& request,
                                         const std::vector<Source>& sources, TableHead& head) {
  std::vector<analysis::ChannelWindow> windows;
  for (const Source& source : sources) {
    windows.emplace_back(recording, analysis::WindowRequest{.file = request.file,
                                                            .channel = source.channel,
                                                            .from_s = request.from_s,
                                                            .to_s = request.to_s});
  }
  const auto bins = analysis::bins_together(windows, request.bins);
  head.rows = static_cast<std::int64_t>(bins.front().size());
  head.columns.push_back({.name = "samples",
                          .unit = "1",
                          .long_name = "number of samples in the bin",
                          .standard_name = {},
                          .cell_method = {}});
  std::vector<std::vector<double>> columns(2);
  for (const analysis::ViewBin& bin : bins.front()) {
    columns[0].push_back(bin.t_s);
    columns[1].push_back(static_cast<double>(bin.samples));
  }
  for (std::size_t k = 0; k < sources.size(); ++k) {
    for (const Figure& figure : figures) {
      Column column = column_of(sources[k]);
      column.name = fmt::format("{}_{}", figure.word, column.name);
      column.cell_method = figure.cell_method;
      head.columns.push_back(std::move(column));
      columns.emplace_back();
      for (const analysis::ViewBin& bin : bins[k])
        columns.back().push_back(bin.*figure.value);
    }
  }
  return columns;
}

std::unique_ptr<TableWriter> writer_for(const fs::path& into, const fs::path& part,
                                        const TableHead& head) {
  const std::string ending = into.extension().string();
  if (ending == ".csv") return csv_writer(part, head);
  if (ending == ".nc") return netcdf_writer(part, head);
  return mat_writer(part, head);
}

void require_place(const fs::path& into) {
  constexpr std::string_view endings[] = {".csv", ".nc", ".mat"};
  if (std::find(std::begin(endings), std::end(endings), into.extension()) == std::end(endings)) {
    throw base::BadInput("--into", fmt::format("'{}' has no known ending", into.string()),
                         "a file that ends in .csv, .nc or .mat");
  }
  if (fs::exists(into)) throw base::BadInput(into.string() + ":1", "exists", "a new file");
}

}  // namespace

Exported export_recording(const ExportRequest& request) {
  require_place(request.into);
  const recording::Recording recording(request.file);
  const std::vector<Source> sources = sources_of(recording, request);
  const std::vector<Stretch> stretches = stretches_in(recording, request);
  TableHead head = head_of(recording, stretches, request.file);
  std::vector<std::vector<double>> bins;
  if (request.bins > 0) {
    bins = bins_of(recording, request, sources, head);
  } else {
    for (const Source& source : sources) {
      head.columns.push_back(column_of(source));
      if (source.note.every == 1) continue;
      Column& column = head.columns.back();
      column.every = source.note.every;
      column.long_name += fmt::format(", a value every {} rows", column.every);
      column.cell_method = fmt::format(
          "time: mean (interval: {} s comment: of the samples until then, after a gap of those "
          "since it)",
          base::number_text(static_cast<double>(column.every) / head.sample_rate_hz));
    }
  }
  const fs::path part = request.into.string() + ".part";
  try {
    const std::unique_ptr<TableWriter> writer = writer_for(request.into, part, head);
    if (request.bins > 0) {
      writer->write(bins);
    } else {
      write_samples(recording, sources, stretches, *writer);
    }
    writer->finish();
  } catch (...) {
    std::error_code ignored;
    fs::remove(part, ignored);
    throw;
  }
  fs::rename(part, request.into);
  Exported exported{
      .rows = head.rows,
      .columns = {},
      .gaps = static_cast<std::int64_t>(head.gaps.size()),
      .clock = head.clock ? analysis::words_of(*head.clock, head.sample_rate_hz) : std::string(),
      .remarks = {}};
  for (const Column& column : head.columns)
    exported.columns.push_back(column.name);
  for (const Source& source : sources) {
    if (!source.certificate)
      exported.remarks.push_back(
          fmt::format("{} had no certificate: {} is in volts", source.channel, source.name()));
  }
  return exported;
}

}  // namespace windwright::exchange
