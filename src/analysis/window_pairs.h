// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"

#include <cstdint>
#include <string>
#include <vector>

namespace windwright::analysis {

struct PairsRequest {
  WindowRequest window;  // its channel is drawn upwards
  std::string against;   // this one to the right
  std::int64_t bins = 1000;
};

/// Two channels of the same stretch of time.
struct ChannelPair {
  ViewBin x;
  ViewBin y;
};

struct WindowPairs {
  SeenChannel x;
  SeenChannel y;
  std::vector<ChannelPair> pairs;  // in time, where both are known
  /// Of the pairs' means, each weighing as many samples as it has; of single samples where a pair
  /// is one. NaN where one of the channels does not change.
  double correlation;
};

/// One channel against another, in bins with the spread of each: from the pyramid, so the time it
/// takes does not grow with the window. Bins average what is quicker than they are long.
/// @throws BadInput  as view_of; nowhere both known
WindowPairs pairs_of(const PairsRequest& request);

}  // namespace windwright::analysis
