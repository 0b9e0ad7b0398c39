// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::exchange {

struct ImportRequest {
  std::filesystem::path file;               // CSV
  std::filesystem::path into;               // recording, new
  std::optional<base::UtcTime> start = {};  // of time_s = 0; else the file's comment start_utc
};

struct ImportedChannel {
  std::string name;
  std::string unit;
  int bits;                   // of the converter made for it
  double step;                // between its counts
  double largest_difference;  // between a value in the file and in the recording
};

struct Imported {
  std::int64_t samples;
  double sample_rate_hz;
  std::int64_t gaps;
  std::vector<ImportedChannel> channels;
  std::vector<std::string> remarks;
};

/// Makes a recording of samples that were written elsewhere: CSV with `time_s` and a column a
/// channel, units from `# unit: NAME = UNIT, ...` comments, else from the names' suffixes. Steps of
/// time are even to a quarter; longer ones, near a whole number of steps, are gaps.
///
/// A recording holds counts: each channel gets a converter made for its values (`count_grid`), and
/// a certificate that turns its counts back into them and states no uncertainty.
/// @throws BadInput   with file and line: not a table, no time, uneven time, a name that is no
///                    word, a unit that is none or contradicts the name; `into` exists
/// @throws DiskFault  it could not be written
Imported import_samples(const ImportRequest& request);

}  // namespace windwright::exchange
