// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_view.h"

#include "analysis/channel_window.h"
#include "base/errors.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <span>
#include <vector>

namespace windwright::analysis {

View view_of(const ViewRequest& request) {
  const recording::Recording recording(request.window.file);
  WindowRequest wanted = request.window;
  wanted.from_s += request.zero_s;
  wanted.to_s += request.zero_s;
  const ChannelWindow window(recording, wanted);
  View view{.seen = window.seen(),
            .zero_s = request.zero_s,
            .bins = window.bins(request.bins),
            .all = {},
            .gaps_at_s = window.gaps_at_s()};
  view.seen.from_s -= request.zero_s;
  view.seen.to_s -= request.zero_s;
  for (ViewBin& bin : view.bins)
    bin.t_s -= request.zero_s;
  for (double& gap : view.gaps_at_s)
    gap -= request.zero_s;
  view.all = taken_together(view.bins);
  return view;
}

void require_alike(const SeenChannel& first, const SeenChannel& other) {
  if (other.calibrated == first.calibrated && other.unit == first.unit) return;
  const auto words = [](const SeenChannel& seen) {
    return seen.calibrated ? seen.unit : "volts at the converter";
  };
  throw base::BadInput(other.recording,
                       fmt::format("has {} in {} where {} has it in {}", other.channel,
                                   words(other), first.recording, words(first)),
                       "recordings that were calibrated alike");
}

std::vector<View> views_of(std::span<const ViewRequest> requests) {
  std::vector<View> views;
  for (const ViewRequest& request : requests) {
    views.push_back(view_of(request));
    require_alike(views.front().seen, views.back().seen);
  }
  return views;
}

}  // namespace windwright::analysis
