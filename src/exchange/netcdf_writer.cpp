// SPDX-License-Identifier: Apache-2.0
#include "analysis/clock_drift.h"
#include "base/clock.h"
#include "exchange/value_table.h"
#include "recording/netcdf_file.h"

#include <fmt/format.h>

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace windwright::exchange {

namespace {

using recording::Attribute;

constexpr const char* time_name = "time";

std::vector<Attribute> attributes_of(const TableHead& head) {
  std::vector<Attribute> attributes{
      {"Conventions", "CF-1.8"},
      {"title", head.title},
      {"source", "values of a recording, by the certificates it carries"},
      {"history", "windwright export of " + head.source},
      {"start_utc", base::utc_text(head.start)},
      {"sample_rate_hz", head.sample_rate_hz}};
  if (head.clock) {
    attributes.emplace_back("comment", analysis::words_of(*head.clock, head.sample_rate_hz));
    attributes.emplace_back("device_clock_drift_ppm", head.clock->drift_ppm);
    attributes.emplace_back("device_clock_u_drift_ppm", head.clock->u_drift_ppm);
  }
  return attributes;
}

class NetcdfWriter final : public TableWriter {
 public:
  NetcdfWriter(const std::filesystem::path& file, const TableHead& head)
      : file_(file, attributes_of(head)) {
    const std::string since = "seconds since " + base::utc_text(head.start);
    file_.add_dimension(time_name, head.rows,
                        {{"units", since},
                         {"long_name", head.columns[0].long_name},
                         {"standard_name", "time"},
                         {"calendar", "standard"},
                         {"axis", "T"}});
    names_.emplace_back(time_name);
    for (const Column& column : std::span(head.columns).subspan(1)) {
      std::vector<Attribute> attributes{{"units", column.unit}, {"long_name", column.long_name}};
      if (!column.standard_name.empty())
        attributes.emplace_back("standard_name", column.standard_name);
      if (column.every > 1)
        attributes.emplace_back("_FillValue", std::numeric_limits<double>::quiet_NaN());
      if (!column.cell_method.empty()) attributes.emplace_back("cell_methods", column.cell_method);
      file_.add_variable(column.name, time_name, attributes);
      names_.push_back(column.name);
    }
    if (!head.gaps.empty()) put_gaps(head.gaps, since);
  }

  void write(std::span<const std::vector<double>> columns) override {
    for (std::size_t i = 0; i < columns.size(); ++i)
      file_.write(names_[i], rows_, columns[i]);
    rows_ += static_cast<std::int64_t>(columns[0].size());
  }

  void finish() override { file_.finish(); }

 private:
  void put_gaps(const std::vector<MissedSamples>& gaps, const std::string& since) {
    std::vector<double> at_s;
    std::vector<double> samples;
    for (const MissedSamples& gap : gaps) {
      at_s.push_back(gap.at_s);
      samples.push_back(static_cast<double>(gap.samples));
    }
    file_.add_dimension("gap", static_cast<std::int64_t>(gaps.size()),
                        {{"units", since}, {"long_name", "first sample after missed samples"}});
    file_.add_variable("missed_samples", "gap",
                       {{"units", "1"}, {"long_name", "samples missed before it"}});
    file_.write("gap", 0, at_s);
    file_.write("missed_samples", 0, samples);
  }

  recording::NetcdfFile file_;
  std::vector<std::string> names_;
  std::int64_t rows_ = 0;
};

}  // namespace

std::unique_ptr<TableWriter> netcdf_writer(const std::filesystem::path& file,
                                           const TableHead& head) {
  return std::make_unique<NetcdfWriter>(file, head);
}

}  // namespace windwright::exchange
