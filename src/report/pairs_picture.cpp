// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_pairs.h"
#include "report/drawing.h"
#include "report/pictures.h"
#include "report/plot.h"
#include "report/window_frame.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::report {
namespace {

using analysis::ChannelPair;
using analysis::ViewBin;

Axis axis_of(const std::vector<ChannelPair>& pairs, const ViewBin ChannelPair::* side, double from,
             double to) {
  double low = (pairs.front().*side).mean;
  double high = low;
  for (const ChannelPair& pair : pairs) {
    low = std::min(low, (pair.*side).mean - (pair.*side).deviation);
    high = std::max(high, (pair.*side).mean + (pair.*side).deviation);
  }
  return roomy_axis(low, high, from, to);
}

void spread(Plot& plot, const ChannelPair& pair) {
  const Stroke stroke{.colour = colour::pale, .width = 0.8};
  const Position across[] = {{pair.x.mean - pair.x.deviation, pair.y.mean},
                             {pair.x.mean + pair.x.deviation, pair.y.mean}};
  plot.error_bar({pair.x.mean, pair.y.mean}, pair.y.deviation, stroke);
  if (pair.x.deviation > 0.0) plot.line(across, stroke);
}

}  // namespace

std::string pairs_picture(const analysis::WindowPairs& pairs) {
  constexpr std::size_t most_with_spread = 2000;
  const std::string relation =
      std::isfinite(pairs.correlation)
          ? fmt::format("correlation of the means {:.3f}", pairs.correlation)
          : "one of them does not change";
  const WindowFrame frame;
  Drawing drawing(frame.width, frame.height,
                  fmt::format("{} over {}, {} pairs; {}.", pairs.y.channel, pairs.x.channel,
                              pairs.pairs.size(), relation));
  const Axis x = axis_of(pairs.pairs, &ChannelPair::x, frame.left, frame.right);
  const Axis y = axis_of(pairs.pairs, &ChannelPair::y, frame.bottom, frame.top);
  Plot plot(drawing, x, y);
  plot.y_frame(title_of(pairs.y));
  plot.x_frame(title_of(pairs.x));
  std::vector<Position> dots;
  for (const ChannelPair& pair : pairs.pairs) {
    if (pairs.pairs.size() <= most_with_spread) spread(plot, pair);
    dots.push_back(plot.at({pair.x.mean, pair.y.mean}));
  }
  drawing.area(dots_path(dots, pairs.pairs.size() <= most_with_spread ? 3.0 : 1.4), colour::blue,
               0.8);
  frame.head(
      drawing, pairs.y.recording,
      fmt::format("{:g} s to {:g} s in {} pairs of means; bars: one standard deviation of the "
                  "samples; {}",
                  pairs.y.from_s, pairs.y.to_s, pairs.pairs.size(), relation));
  return drawing.document();
}

}  // namespace windwright::report
