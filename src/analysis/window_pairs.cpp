// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_pairs.h"

#include "analysis/channel_window.h"
#include "base/errors.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

namespace windwright::analysis {
namespace {

double correlation_of(const std::vector<ChannelPair>& pairs) {
  double weights = 0.0;
  double x_mean = 0.0;
  double y_mean = 0.0;
  for (const ChannelPair& pair : pairs) {
    const auto weight = static_cast<double>(pair.x.samples);
    weights += weight;
    x_mean += weight / weights * (pair.x.mean - x_mean);
    y_mean += weight / weights * (pair.y.mean - y_mean);
  }
  double xx = 0.0;
  double yy = 0.0;
  double xy = 0.0;
  for (const ChannelPair& pair : pairs) {
    const auto weight = static_cast<double>(pair.x.samples);
    const double x = pair.x.mean - x_mean;
    const double y = pair.y.mean - y_mean;
    xx += weight * x * x;
    yy += weight * y * y;
    xy += weight * x * y;
  }
  return xy / std::sqrt(xx * yy);
}

}  // namespace

WindowPairs pairs_of(const PairsRequest& request) {
  const recording::Recording recording(request.window.file);
  WindowRequest across = request.window;
  across.channel = request.against;
  const std::array windows{ChannelWindow(recording, across),
                           ChannelWindow(recording, request.window)};
  WindowPairs result{
      .x = windows[0].seen(), .y = windows[1].seen(), .pairs = {}, .correlation = 0.0};
  const std::vector<std::vector<ViewBin>> bins = bins_together(windows, request.bins);
  for (std::size_t k = 0; k < bins[0].size(); ++k) {
    // One of the two is not known there.
    if (bins[0][k].samples == 0 || bins[1][k].samples == 0) continue;
    result.pairs.push_back({.x = bins[0][k], .y = bins[1][k]});
  }
  if (result.pairs.empty()) {
    throw base::BadInput(request.window.file.string() + ":1",
                         fmt::format("{} and {} are nowhere known at the same time in the window",
                                     request.window.channel, request.against),
                         "a longer window, or another one");
  }
  result.correlation = correlation_of(result.pairs);
  return result;
}

}  // namespace windwright::analysis
