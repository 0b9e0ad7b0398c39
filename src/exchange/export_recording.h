// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <filesystem>
#include <limits>
#include <string>
#include <vector>

namespace windwright::exchange {

/// A window of a recording as values for other programs.
struct ExportRequest {
  std::filesystem::path file;
  std::filesystem::path into;  // new; .csv, .nc (netCDF-4) or .mat (MAT-file of level 5)
  std::vector<std::string> channels = {};  // empty: all
  double from_s = -std::numeric_limits<double>::infinity();
  double to_s = std::numeric_limits<double>::infinity();
  std::int64_t bins = 0;  // 0: every sample; else lowest, highest, mean and deviation of each bin
};

struct Exported {
  std::int64_t rows;
  std::vector<std::string> columns;  // with the time
  std::int64_t gaps;
  std::string clock;  // how the device's ran against the computer's; empty where it is not known
  std::vector<std::string> remarks;  // what a reader of the numbers must know
};

/// Counts become values by the certificates that the recording carries. A channel without one is
/// given in volts at its converter, under a name that says so: air_speed_m_s becomes
/// air_speed_reading_V. Times are seconds since the recording's first sample by the device's count;
/// where samples were missed nothing is put in their place, and every format says where that was.
/// @throws BadInput   not a recording, no such channel, no sample in the window, `into` exists or
///                    ends in something else; nothing is left of it
/// @throws DiskFault  it could not be written; nothing is left of it
Exported export_recording(const ExportRequest& request);

}  // namespace windwright::exchange
