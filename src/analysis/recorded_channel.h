// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// Whether a file begins as HDF5 does.
bool is_recording(const std::filesystem::path& file);

/// One channel of a recording, its counts turned into values by the certificate that it carries.
/// The recording must outlive it.
class CalibratedChannel {
 public:
  /// @param file  of the recording, for messages
  /// @param unit  UDUNITS string that is wanted; empty: whatever it has
  /// @throws BadInput  no such channel, another unit, no certificate
  CalibratedChannel(const recording::Recording& recording, const std::filesystem::path& file,
                    const std::string& name, std::string_view unit = {});

  /// Samples first .. first + count of the recording.
  std::vector<double> values(std::int64_t first, std::int64_t count);
  /// Adds what share of the values so far lies outside of what was calibrated, if any does.
  void remark(std::vector<std::string>& remarks) const;

 private:
  const recording::Recording& recording_;
  std::string name_;
  recording::ChannelNote note_;
  metrology::Certificate certificate_;
  std::size_t beyond_ = 0;
  std::size_t all_ = 0;
};

/// Samples of a recording that follow each other without a gap, and their place in the device's
/// count.
struct Stretch {
  std::int64_t first;
  std::int64_t count;
  std::int64_t device_first;
};

/// Samples of a stretch taken before a time: its count where all were.
/// @param time_s  since the first sample of the first stretch, by the device's count
/// @param origin  device's count of that sample
std::int64_t samples_before(const Stretch& stretch, double time_s, std::int64_t origin,
                            double sample_rate_hz);

/// In time; one where the recording has no gap, with a count of 0 where it has no samples.
std::vector<Stretch> stretches_of(const recording::Recording& recording);

}  // namespace windwright::analysis
