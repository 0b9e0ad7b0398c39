// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_pairs.h"

#include "analysis/channel_window.h"
#include "recording/recording.h"

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
  const ChannelWindow y(recording, request.window);
  WindowRequest across = request.window;
  across.channel = request.against;
  const ChannelWindow x(recording, across);
  WindowPairs result{.x = x.seen(), .y = y.seen(), .pairs = {}, .correlation = 0.0};
  // The edges of bins come from the window and the levels, which all channels share.
  const std::vector<ViewBin> x_bins = x.bins(request.bins);
  const std::vector<ViewBin> y_bins = y.bins(request.bins);
  for (std::size_t k = 0; k < x_bins.size(); ++k)
    result.pairs.push_back({.x = x_bins[k], .y = y_bins[k]});
  result.correlation = correlation_of(result.pairs);
  return result;
}

}  // namespace windwright::analysis
