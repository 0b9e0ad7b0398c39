// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {

struct ViewRequest {
  /// Times count from `zero_s`.
  WindowRequest window;
  std::int64_t bins = 1000;
  /// Time of the recording that is called 0, so that recordings can be laid over each other.
  double zero_s = 0.0;
};

/// A window of one channel in bins; all times count from the request's zero.
struct View {
  SeenChannel seen;
  double zero_s;
  std::vector<ViewBin> bins;
  ViewBin all;                    // the whole window
  std::vector<double> gaps_at_s;  // in the window: time of the first sample after each
};

/// From the pyramid: the time it takes does not grow with the window.
/// @throws BadInput  not a recording, no such channel, no sample in the window
View view_of(const ViewRequest& request);

/// Windows of several recordings, to be laid over each other.
/// @throws BadInput  as view_of; one in another unit than the first
std::vector<View> views_of(std::span<const ViewRequest> requests);

/// Refuses to lay one channel over another that has not its unit.
/// @throws BadInput
void require_alike(const SeenChannel& first, const SeenChannel& other);

}  // namespace windwright::analysis
