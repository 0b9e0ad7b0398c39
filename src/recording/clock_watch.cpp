// SPDX-License-Identifier: Apache-2.0
#include "recording/clock_watch.h"

#include "recording/recording.h"

#include <cstdint>
#include <limits>
#include <optional>

namespace windwright::recording {
namespace {

constexpr std::int64_t interval_ns = 4'000'000'000;

}  // namespace

std::optional<ClockPair> ClockWatch::see(const ClockPair& pair) {
  std::optional<ClockPair> done;
  if (best_ && pair.device_ns - begun_ns_ >= interval_ns) done = end();
  if (!best_) begun_ns_ = pair.device_ns;
  const std::int64_t way_ns = pair.host.time_since_epoch().count() - pair.device_ns;
  if (!best_ || way_ns < shortest_ns_) {
    best_ = pair;
    shortest_ns_ = way_ns;
  }
  return done;
}

std::optional<ClockPair> ClockWatch::end() {
  const std::optional<ClockPair> last = best_;
  best_.reset();
  shortest_ns_ = std::numeric_limits<std::int64_t>::max();
  return last;
}

}  // namespace windwright::recording
