// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "signal/ac_power.h"

#include <filesystem>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {

/// Which samples of a file are wanted.
struct WaveformRequest {
  std::filesystem::path file;  // a recording, or a CSV file
  std::string voltage;         // channel or column
  std::string current;
  double from_s =
      -std::numeric_limits<double>::infinity();           // this one and later; the first is at 0
  double to_s = std::numeric_limits<double>::infinity();  // earlier than this
};

/// Samples that are missing.
struct WaveformGap {
  double at_s;  // of the first sample after it
  double missing_s;
};

/// Voltage and current without a gap, in time.
struct WaveformPiece {
  std::vector<double> voltage_V;
  std::vector<double> current_A;  // as many
};

struct Waveforms {
  double sample_rate_hz;
  std::vector<WaveformPiece> pieces;
  std::vector<WaveformGap> gaps;     // between the pieces
  std::vector<std::string> remarks;  // what a reader of the numbers must know
};

/// Reads two channels. From a CSV file with a column `time_s`: values as they stand, time even to
/// half a step and without a gap; times for from_s and to_s are the column's. From a recording:
/// counts turned into values by the certificates that it carries, cut at its gaps; time from its
/// first sample by the device's count.
/// @throws BadInput  not readable, no such column or channel, not a number, time that is not even,
///                   another unit, no certificate, nothing between from_s and to_s
Waveforms waveforms(const WaveformRequest& request);

/// Power of what was read, with the file's name in complaints.
/// @throws BadInput  from signal::pair_power
signal::PairPower power_of(const Waveforms& waveforms, const std::filesystem::path& file);

}  // namespace windwright::analysis
