// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only.
#pragma once

#include "recording/recording.h"

#include <cstdint>
#include <limits>
#include <optional>

namespace windwright::recording {

/// Chooses which samples' times are written: of every few seconds the one that was under way
/// shortest, since delays only add; one at least between two gaps.
class ClockWatch {
 public:
  /// @param pair  of the last sample of each block, in time
  /// @return      one that is to be written
  std::optional<ClockPair> see(const ClockPair& pair);
  /// Samples are missing before the next, or nothing comes any more.
  std::optional<ClockPair> end();

 private:
  std::optional<ClockPair> best_;
  std::int64_t shortest_ns_ = std::numeric_limits<std::int64_t>::max();
  std::int64_t begun_ns_ = 0;  // device's time of the first pair since the last one written
};

}  // namespace windwright::recording
