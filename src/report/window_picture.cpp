// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_view.h"
#include "report/drawing.h"
#include "report/notation.h"
#include "report/pictures.h"
#include "report/plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

namespace windwright::report {
namespace {

constexpr double width = 960.0;
constexpr double height = 420.0;
constexpr double left = 82.0;
constexpr double right = width - 24.0;
constexpr double top = 52.0;
constexpr double bottom = height - 54.0;
constexpr const char* band = "#56b4e9";  // Okabe-Ito sky blue
constexpr const char* middle = "#0b5a8c";

}  // namespace

std::string window_picture(const analysis::View& view) {
  Drawing drawing(
      width, height,
      fmt::format("{} from {:g} s to {:g} s: mean {:.5g}, lowest {:.5g}, highest {:.5g} {}",
                  view.channel, view.from_s, view.to_s, view.all.mean, view.all.lowest,
                  view.all.highest, view.unit));
  const Axis time = Axis::exact(view.from_s, view.to_s, 8, left, right);
  const double room = std::max(1e-12 + 1e-9 * std::abs(view.all.highest),
                               0.05 * (view.all.highest - view.all.lowest));
  const Axis value(view.all.lowest - room, view.all.highest + room, 6, bottom, top);
  for (const double tick : value.ticks()) {
    drawing.line({left, value.at(tick)}, {right, value.at(tick)}, {.colour = "#e3e6e8"});
    drawing.text({left - 8.0, value.at(tick)}, value.tick_text(tick), {.anchor = Anchor::end});
  }
  for (const double tick : time.ticks()) {
    drawing.line({time.at(tick), bottom}, {time.at(tick), bottom + 5.0}, {.colour = colour::ink});
    drawing.text({time.at(tick), bottom + 17.0}, time.tick_text(tick), {.anchor = Anchor::middle});
  }
  drawing.line({left, bottom}, {right, bottom}, {.colour = colour::ink});
  // Between lowest and highest, each bin as wide as it lasts.
  std::string path;
  std::vector<Position> means;
  for (std::size_t i = 0; i < view.bins.size(); ++i) {
    const analysis::ViewBin& bin = view.bins[i];
    const double from = time.at(bin.t_s);
    const double to = time.at(bin.t_s + static_cast<double>(bin.samples) / view.sample_rate_hz);
    const double least = std::max(value.at(bin.lowest), value.at(bin.highest) + 0.6);
    path += fmt::format("M{} {}H{}V{}H{}Z", coordinate(from), coordinate(value.at(bin.highest)),
                        coordinate(to), coordinate(least), coordinate(from));
    means.push_back({0.5 * (from + to), value.at(bin.mean)});
  }
  drawing.area(path, band, 0.55);
  drawing.polyline(means, {.colour = middle, .width = 1.4});
  for (const double gap : view.gaps_at_s) {
    drawing.line({time.at(gap), top}, {time.at(gap), bottom},
                 {.colour = colour::vermilion, .width = 1.5, .dash = "4 3"});
    drawing.text({time.at(gap) + 4.0, top + 8.0}, "gap", {.size = 11.0, .colour = "#a34700"});
  }
  const std::string unit = view.unit == "1" ? "" : ", " + unit_text(view.unit);
  drawing.text({left, 18.0}, view.channel + unit, {.size = 15.0, .bold = true});
  drawing.text(
      {left, 37.0},
      fmt::format("mean {:.5g}, standard deviation {:.3g}, lowest {:.5g}, highest {:.5g}; {} "
                  "samples, {}",
                  view.all.mean, view.all.deviation, view.all.lowest, view.all.highest,
                  view.all.samples,
                  view.calibrated ? "through the certificate recorded with them"
                                  : "volts at the converter: no certificate"),
      {.size = 12.0});
  drawing.text({right, 18.0}, "band: lowest to highest; line: mean",
               {.size = 12.0, .anchor = Anchor::end});
  drawing.text({0.5 * (left + right), bottom + 38.0}, "time since the first sample, s",
               {.anchor = Anchor::middle});
  return drawing.document();
}

}  // namespace windwright::report
