// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::analysis {

struct SampledChannel {
  std::string name;
  std::vector<double> values;  // in time
};

/// Samples of one or more channels, taken together.
struct SampleRecord {
  double interval_s;  // NaN where the file has no time_s
  std::vector<SampledChannel> channels;
};

/// Reads a CSV of samples: a column a channel, and `time_s` if the steps have a length; `#`
/// comments anywhere.
/// @param channel  one of them, or empty for all
/// @throws BadInput  with file and line: not a number, fewer than two rows, steps of time that are
///                   not even to a quarter, no such channel
SampleRecord samples_from_file(const std::filesystem::path& file, const std::string& channel = {});

}  // namespace windwright::analysis
