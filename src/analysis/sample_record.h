// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"

#include <filesystem>
#include <optional>
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
  std::vector<std::string> remarks;  // what a reader of the numbers must know
};

/// Reads a CSV of samples: a column a channel, and `time_s` if the steps have a length; `#`
/// comments anywhere.
/// @param channel  one of them, or empty for all
/// @throws BadInput  with file and line: not a number, fewer than two rows, steps of time that are
///                   not even to a quarter, no such channel
SampleRecord samples_from_file(const std::filesystem::path& file, const std::string& channel = {});

/// Samples of a recording, counts turned into values by the certificates that it carries. Channels
/// without one are left out with a remark unless asked for by name.
/// @param window  by the device's count from the first sample, the end not in it; nothing: all
/// @throws BadInput  not a recording, no such channel, no certificate; fewer than two samples in
///                   the window; a gap inside it, which nothing bridges
SampleRecord samples_from_recording(const std::filesystem::path& file, const std::string& channel,
                                    const std::optional<Window>& window);

}  // namespace windwright::analysis
