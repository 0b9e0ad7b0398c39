// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::station {

/// The newest single samples of every channel, in memory allocated once: what a live spectrum is
/// made of. One thread at a time.
class LiveTail {
 public:
  static constexpr double kept_s = 8.0;
  static constexpr std::size_t least = 2048;  // samples of a channel
  static constexpr std::size_t most = 16'384;

  LiveTail(std::size_t channels, double sample_rate_hz);

  /// Begins the next stretch of samples. @param joins  the device's next ones: no gap before them;
  ///                                                   else everything before is forgotten
  void begin(bool joins, std::size_t samples);
  /// The values of one channel in that stretch.
  void take(std::size_t channel, std::span<const float> values);

  /// Oldest first, as many as there are without a gap.
  std::vector<double> samples(std::size_t channel) const;
  std::size_t capacity() const { return kept_; }

 private:
  std::size_t kept_;
  std::vector<float> values_;  // (channels x kept), sample k in slot k modulo kept
  std::size_t first_ = 0;      // samples before this stretch, since the last gap
  std::size_t count_ = 0;      // with it
};

}  // namespace windwright::station
