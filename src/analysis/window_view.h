// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "recording/recording.h"

#include <cstdint>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {

/// A window of one channel of a recording. Times count from the recording's first sample.
struct ViewRequest {
  std::filesystem::path file;
  std::string channel;
  double from_s = -std::numeric_limits<double>::infinity();
  double to_s = std::numeric_limits<double>::infinity();
  std::int64_t bins = 1000;
};

/// In the channel's unit. Means and deviations through a curved certificate are those of two
/// points, one deviation to either side of the mean: exact for a straight law, and to second order
/// for any other.
struct ViewBin {
  double t_s;  // of its first sample
  double lowest;
  double highest;
  double mean;
  double deviation;  // standard deviation of the samples (divided by their number)
  std::int64_t samples;
};

struct View {
  std::string channel;
  std::string unit;  // UDUNITS
  bool calibrated;   // else volts at the converter
  double from_s;     // of the first sample shown
  double to_s;       // one sample past the last
  double sample_rate_hz;
  std::vector<ViewBin> bins;
  ViewBin all;                    // the whole window
  std::vector<double> gaps_at_s;  // in the window: time of the first sample after each
};

/// From the pyramid: the time it takes does not grow with the window.
/// @throws BadInput  not a recording, no such channel, no sample in the window
View view_of(const ViewRequest& request);

}  // namespace windwright::analysis
