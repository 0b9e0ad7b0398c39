// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "report/charts.h"
#include "report/drawing.h"
#include "report/notation.h"
#include "report/pictures.h"
#include "report/plot.h"
#include "report/window_frame.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace windwright::report {
namespace {

using analysis::View;
using analysis::ViewBin;

constexpr const char* band = "#56b4e9";  // Okabe-Ito sky blue
constexpr const char* middle = "#0b5a8c";

/// Axes that hold all views, and the drawing between them.
struct Window {
  Window(std::span<const View> views, std::string_view description);
  void trace(const View& view, const Stroke& mean, std::string_view fill, double opacity);
  void gaps(const View& view);

  WindowFrame frame;
  Drawing drawing;
  Axis time;
  Axis value;
  Plot plot;
};

Axis time_axis(const WindowFrame& frame, std::span<const View> views) {
  double from_s = views.front().seen.from_s;
  double to_s = views.front().seen.to_s;
  for (const View& view : views) {
    from_s = std::min(from_s, view.seen.from_s);
    to_s = std::max(to_s, view.seen.to_s);
  }
  return Axis::exact(from_s, to_s, 8, frame.left, frame.right);
}

Axis axis_of_values(const WindowFrame& frame, std::span<const View> views) {
  double low = views.front().all.lowest;
  double high = views.front().all.highest;
  for (const View& view : views) {
    low = std::min(low, view.all.lowest);
    high = std::max(high, view.all.highest);
  }
  return frame.value_axis(low, high);
}

Window::Window(std::span<const View> views, std::string_view description)
    : frame(views.size()),
      drawing(frame.width, frame.height, description),
      time(time_axis(frame, views)),
      value(axis_of_values(frame, views)),
      plot(drawing, time, value) {
  plot.y_frame(title_of(views.front().seen));
  const bool from_start =
      std::all_of(views.begin(), views.end(), [](const View& view) { return view.zero_s == 0.0; });
  plot.x_frame(from_start ? "time since the first sample, s" : "time, s");
}

// Between lowest and highest, each bin as wide as it lasts, and the means.
void Window::trace(const View& view, const Stroke& mean, std::string_view fill, double opacity) {
  std::string path;
  std::vector<Position> means;
  for (const ViewBin& bin : view.bins) {
    const double lasts_s = static_cast<double>(bin.samples) / view.seen.sample_rate_hz;
    const Position corner = plot.at({bin.t_s, bin.highest});
    const double end = time.at(bin.t_s + lasts_s);
    const double least = std::max(value.at(bin.lowest), corner.y + 0.6);
    path += fmt::format("M{} {}H{}V{}H{}Z", coordinate(corner.x), coordinate(corner.y),
                        coordinate(end), coordinate(least), coordinate(corner.x));
    means.push_back({bin.t_s + 0.5 * lasts_s, bin.mean});
  }
  drawing.area(path, fill, opacity);
  plot.line(means, mean);
}

void Window::gaps(const View& view) {
  for (const double gap : view.gaps_at_s) {
    const double x = time.at(gap);
    drawing.line({x, value.to()}, {x, value.from()},
                 {.colour = colour::vermilion, .width = 1.5, .dash = "4 3"});
    drawing.text({x + 4.0, value.to() + 8.0}, "gap", {.size = 11.0, .colour = "#a34700"});
  }
}

std::string figures_of(const View& view) {
  return fmt::format(
      "mean {:.5g}, standard deviation {:.3g}, lowest {:.5g}, highest {:.5g}; {} samples, {}",
      view.all.mean, view.all.deviation, view.all.lowest, view.all.highest, view.all.samples,
      source_words(view.seen));
}

std::string described(const View& view) {
  return fmt::format("{} from {:g} s to {:g} s: mean {:.5g}, lowest {:.5g}, highest {:.5g} {}",
                     view.seen.channel, view.seen.from_s, view.seen.to_s, view.all.mean,
                     view.all.lowest, view.all.highest, view.seen.unit);
}

void draw_one(Window& window, const View& view) {
  window.trace(view, {.colour = middle, .width = 1.4}, band, 0.55);
  window.gaps(view);
}

}  // namespace

std::string window_picture(std::span<const View> views) {
  const View& first = views.front();
  if (views.size() == 1) {
    Window window(views, described(first));
    draw_one(window, first);
    window.frame.head(window.drawing, first.seen.recording, figures_of(first));
    window.frame.key(window.drawing, 0, {.colour = middle, .width = 1.4},
                     "mean; around it lowest to highest");
    return window.drawing.document();
  }
  std::string description = fmt::format("{} of {} recordings:", first.seen.channel, views.size());
  for (const View& view : views)
    description += fmt::format(" {} mean {:.5g};", view.seen.recording, view.all.mean);
  Window window(views, description);
  for (std::size_t k = 0; k < views.size(); ++k) {
    const CurveLook look = look_of_curve(k);
    const Stroke stroke{.colour = look.colour, .width = 1.5, .dash = look.dash};
    window.trace(views[k], stroke, look.colour, 0.18);
    window.gaps(views[k]);
    window.frame.key(
        window.drawing, k, stroke,
        fmt::format("{}: mean {:.5g}{}", views[k].seen.recording, views[k].all.mean,
                    views[k].zero_s == 0.0 ? "" : fmt::format(", 0 at {:g} s", views[k].zero_s)));
  }
  window.frame.head(
      window.drawing, fmt::format("{} recordings", views.size()),
      "lines: means of bins; around them lowest to highest; " + source_words(first.seen));
  return window.drawing.document();
}

std::string window_picture(const View& view, const analysis::WindowStatistics& figures) {
  Window window({&view, 1}, described(view));
  window.plot.band(figures.mean - figures.deviation, figures.mean + figures.deviation, "#f2e3d6");
  draw_one(window, view);
  const Stroke stroke{.colour = colour::vermilion, .width = 1.6};
  window.plot.level(figures.mean, stroke);
  std::string words = fmt::format("mean {:.6g}", figures.mean);
  if (figures.scatter) {
    words +=
        fmt::format(", standard uncertainty from scatter {:.2g} with {:.3g} degrees of freedom",
                    figures.scatter->mean.u, figures.scatter->mean.dof);
  } else {
    words += ", its uncertainty from scatter not stated: " + figures.without;
  }
  window.frame.head(
      window.drawing, view.seen.recording,
      fmt::format("{}; {} samples, {}", words, figures.samples, source_words(view.seen)));
  window.frame.key(window.drawing, 0, stroke,
                   fmt::format("mean; shaded: one standard deviation, {:.3g}", figures.deviation));
  return window.drawing.document();
}

std::string window_picture(const View& view, const analysis::Cursors& cursors) {
  Window window({&view, 1}, described(view));
  draw_one(window, view);
  std::size_t number = 0;
  for (const analysis::Cursor& cursor : cursors.cursors) {
    ++number;
    const double time_s = cursor.t_s.value_or(cursor.asked_s);
    if (time_s < window.time.low() || time_s > window.time.high()) continue;
    const double x = window.time.at(time_s);
    window.drawing.line({x, window.frame.top}, {x, window.frame.bottom},
                        {.colour = colour::ink, .width = 1.0, .dash = "3 2"});
    window.drawing.text(
        {x + 4.0, window.frame.bottom - 8.0},
        cursor.t_s ? fmt::format("{}: {:.6g} at {:.7g} s", number, cursor.value.value(), time_s)
                   : fmt::format("{}: no sample", number),
        {.size = 11.0});
    if (cursor.t_s)
      window.plot.marker(Shape::ring, {time_s, cursor.value.value()}, colour::vermilion, 8.0);
  }
  window.frame.head(window.drawing, view.seen.recording, figures_of(view));
  return window.drawing.document();
}

}  // namespace windwright::report
