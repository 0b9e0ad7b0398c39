// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "station/live_bins.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

/// What a viewer asks to see of one bench.
struct Subscription {
  std::string bench;
  std::vector<std::string> channels;  // empty: all
  double window_s;
  int bins;
};

/// A text message of a viewer; `unsubscribe` has only the bench.
struct ViewerMessage {
  bool subscribes;
  Subscription subscription;
};
/// @throws Refusal  422: not JSON of docs/openapi.json, x-live
ViewerMessage viewer_message(std::string_view text);

inline constexpr std::size_t longest_viewer_message = 4096;  // bytes

/// What an envelope carries besides the bins.
struct EnvelopeHead {
  bool fresh;  // forget the bins before
  bool gap;
  std::uint16_t stream;
  std::uint32_t number;
  int level;
  std::int64_t first_bin;
  std::int64_t bins;
  base::UtcTime device_time;
  base::UtcTime host_time;
};

/// One binary message as docs/openapi.json lays it out: little-endian, floats in single precision.
/// @param channels  indices in the bins, in the order of the message
/// @param newest    (channels of the bench) means of the newest block
std::string envelope(const station::LiveBins& bins, const EnvelopeHead& head,
                     std::span<const std::size_t> channels, std::span<const float> newest);

}  // namespace windwright::server
