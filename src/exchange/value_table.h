// SPDX-License-Identifier: Apache-2.0
// Inside the exchange module only: what goes into a file of any format.
#pragma once

#include "analysis/clock_drift.h"
#include "base/clock.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::exchange {

/// A column of values, one a row.
struct Column {
  std::string name;
  std::string unit;  // UDUNITS
  std::string long_name;
  std::string standard_name;  // of the CF conventions; may be empty
  std::string cell_method;    // of the CF conventions: "time: mean"; empty for single samples
  std::int64_t every = 1;     // of so many rows one has a value, the others are NaN
};

struct MissedSamples {
  double at_s;  // of the first sample after them
  std::int64_t samples;
};

/// What a table says before its values. Its first column is the time, in seconds since `start`.
struct TableHead {
  std::string title;
  std::string source;  // the recording's name
  base::UtcTime start;
  double sample_rate_hz;
  std::optional<analysis::ClockDrift> clock;
  std::int64_t rows;
  std::vector<Column> columns;
  std::vector<MissedSamples> gaps;
};

/// Puts rows into a file of one format.
class TableWriter {
 public:
  TableWriter() = default;
  TableWriter(const TableWriter&) = delete;
  TableWriter& operator=(const TableWriter&) = delete;
  virtual ~TableWriter() = default;
  /// @param columns  in the order of the head, each of the same number of rows: those that follow
  virtual void write(std::span<const std::vector<double>> columns) = 0;
  /// After the last row. @throws DiskFault
  virtual void finish() = 0;
};

std::unique_ptr<TableWriter> csv_writer(const std::filesystem::path& file, const TableHead& head);
/// netCDF-4 with attributes of the CF conventions.
std::unique_ptr<TableWriter> netcdf_writer(const std::filesystem::path& file,
                                           const TableHead& head);
/// MAT-file of level 5, uncompressed: a vector a column, `units` and `long_names` as structures.
/// Source: MAT-File Format (the level 5 format, as published).
/// @throws BadInput  a column of 2 GiB or more or a name of 64 characters or more, which the format
/// cannot hold
std::unique_ptr<TableWriter> mat_writer(const std::filesystem::path& file, const TableHead& head);

}  // namespace windwright::exchange
