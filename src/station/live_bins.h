// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::station {

/// Lowest, highest and mean of every channel, in bins of doubling width, in memory allocated once:
/// what strips over time are drawn from, at any zoom, while samples come in. Level k has bins of
/// `base_samples << k` samples and keeps the newest 4 096 of them. One thread at a time.
class LiveBins {
 public:
  static constexpr std::int64_t kept = 4096;
  static constexpr int levels = 15;
  static constexpr double shortest_bin_s = 0.01;

  LiveBins(std::size_t channels, double sample_rate_hz);

  /// Begins the next stretch of samples.
  /// @param first  the device's count of the next sample; where it steps back, everything before is
  ///               forgotten and `epoch` counts up
  /// @param start  device time of that sample
  void begin(std::int64_t first, base::UtcTime start, std::size_t samples);
  /// The values of one channel in that stretch.
  void take(std::size_t channel, std::span<const float> values);

  int epoch() const { return epoch_; }
  base::UtcTime origin() const { return origin_; }  // device time of bin 0
  double bin_s(int level) const;
  /// The coarsest level whose bins are no wider than that; level 0 where none is.
  int level_for(double widest_bin_s) const;
  /// The bin that the newest sample is in; -1 before the first sample.
  std::int64_t newest_bin(int level) const;
  /// The oldest bin that is still there.
  std::int64_t oldest_bin(int level) const;

  /// Rows lowest, highest, mean of a channel; NaN where a bin has no sample.
  /// @param to  (3 x bins), the rows one after the other
  void read(int level, std::size_t channel, std::int64_t first_bin, std::span<float> to) const;

 private:
  struct Level {
    std::vector<std::int64_t> bin;     // (kept) which bin is in the slot; -1: none
    std::vector<std::uint32_t> count;  // (kept) samples, the same in all channels
    std::vector<float> lowest;         // (channels x kept)
    std::vector<float> highest;
    std::vector<double> sum;
  };
  void open(int level, std::int64_t bin);
  void fold(std::size_t channel, std::int64_t sample, std::span<const float> values);
  std::int64_t width(int level) const { return base_samples_ << level; }

  std::size_t channels_;
  double sample_rate_hz_;
  std::int64_t base_samples_;
  std::vector<Level> levels_;
  int epoch_ = 0;
  base::UtcTime origin_{};
  std::int64_t origin_sample_ = 0;  // the device's count at bin 0
  std::int64_t stretch_ = 0;        // first sample of the stretch, from bin 0 on
  std::int64_t end_ = -1;           // one past the newest; -1: nothing yet
};

}  // namespace windwright::station
