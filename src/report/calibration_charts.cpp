// SPDX-License-Identifier: Apache-2.0
#include "report/calibration_charts.h"

#include "base/units.h"
#include "report/drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

constexpr double width = 760.0;
constexpr double height = 380.0;
constexpr double left = 92.0;
constexpr double right = width - 24.0;
constexpr double top = 48.0;
constexpr double bottom = height - 52.0;

constexpr std::string_view ink = "#33393f";
constexpr std::string_view faint = "#c9ced3";
constexpr std::string_view blue = "#0072b2";  // Okabe and Ito
constexpr std::string_view orange = "#d55e00";

struct Frame {
  Axis x;
  Axis y;
};

// Grid, ticks and titles.
void draw_frame(Drawing& drawing, const Frame& frame, std::string_view x_title,
                std::string_view y_title) {
  for (const double tick : frame.y.ticks()) {
    const double y = frame.y.at(tick);
    drawing.line({left, y}, {right, y}, {.colour = std::string(faint), .width = 0.6});
    drawing.text({left - 8.0, y}, frame.y.tick_text(tick), {.anchor = Anchor::end});
  }
  for (const double tick : frame.x.ticks()) {
    const double x = frame.x.at(tick);
    drawing.line({x, bottom}, {x, bottom + 4.0}, {.colour = std::string(ink)});
    drawing.text({x, bottom + 16.0}, frame.x.tick_text(tick), {.anchor = Anchor::middle});
  }
  drawing.line({left, bottom}, {right, bottom}, {.colour = std::string(ink)});
  drawing.text({0.5 * (left + right), height - 12.0}, x_title, {.anchor = Anchor::middle});
  drawing.upright_text({16.0, 0.5 * (top + bottom)}, y_title, {.anchor = Anchor::middle});
}

void draw_level(Drawing& drawing, const Frame& frame, double value, std::string_view dash) {
  drawing.line({left, frame.y.at(value)}, {right, frame.y.at(value)},
               {.colour = std::string(ink), .width = 1.0, .dash = std::string(dash)});
}

// A file of its own, not a part of a page: it names its language.
std::string document(const Drawing& drawing) {
  std::string text = drawing.svg();
  constexpr std::string_view opening = "<svg ";
  text.insert(text.find(opening) + opening.size(), "xmlns=\"http://www.w3.org/2000/svg\" ");
  return text;
}

}  // namespace

std::string residual_chart(const metrology::Certificate& certificate,
                           const metrology::ReadingsFile& file,
                           const metrology::Diagnostics& diagnostics) {
  const double band = 2.0 * certificate.fit.residual_standard_deviation;
  double most = band;
  double low = certificate.reference_range[0];
  double high = certificate.reference_range[1];
  for (const metrology::ResidualPoint& point : diagnostics.residuals) {
    most = std::max(most, std::abs(point.residual));
    low = std::min(low, point.reference);
    high = std::max(high, point.reference);
  }
  most = most > 0.0 ? 1.1 * most : 1.0;
  const Frame frame{.x = Axis(low, high, 8, left, right), .y = Axis(-most, most, 6, bottom, top)};
  Drawing drawing(width, height,
                  fmt::format("Residuals of the {} of {} over the reference", certificate.model,
                              certificate.channel));
  const bool backward = certificate.model == "cup" || certificate.model == "ntc";
  draw_frame(drawing, frame, base::with_unit("reference", certificate.reference_unit),
             base::with_unit(backward ? "reference less curve" : "reading less curve",
                             backward ? certificate.reference_unit : certificate.reading_unit));
  drawing.text({left, 22.0},
               fmt::format("{}: what the {} leaves; dashed: twice the residual standard deviation",
                           certificate.channel, certificate.model),
               {.size = 13.0, .bold = true});
  draw_level(drawing, frame, 0.0, "");
  for (const double level : {band, -band})
    draw_level(drawing, frame, level, "6 4");
  for (std::size_t i = 0; i < diagnostics.residuals.size(); ++i) {
    const metrology::ResidualPoint& point = diagnostics.residuals[i];
    const bool falling = !file.direction.empty() && file.direction[i] == metrology::Direction::down;
    drawing.marker(falling ? Shape::open_diamond : Shape::disc,
                   {frame.x.at(point.reference), frame.y.at(point.residual)},
                   falling ? orange : blue);
  }
  if (!file.direction.empty()) {
    drawing.marker(Shape::disc, {right - 280.0, 40.0}, blue);
    drawing.text({right - 270.0, 40.0}, "reached from below");
    drawing.marker(Shape::open_diamond, {right - 118.0, 40.0}, orange);
    drawing.text({right - 108.0, 40.0}, "from above");
  }
  return document(drawing);
}

std::string control_chart_drawing(const metrology::ControlChart& chart, const std::string& unit) {
  double low = chart.lower;
  double high = chart.upper;
  for (const metrology::ChartPoint& point : chart.points) {
    low = std::min(low, point.value);
    high = std::max(high, point.value);
  }
  const double margin = 0.05 * (high - low);
  const auto count = static_cast<double>(chart.points.size());
  const Frame frame{.x = Axis(0.0, count + 1.0, 10, left, right),
                    .y = Axis(low - margin, high + margin, 6, bottom, top)};
  Drawing drawing(width, height, "Control chart of a check standard");
  draw_frame(drawing, frame, "measurement, in the order of time",
             base::with_unit("check standard", unit));
  drawing.text({left, 22.0},
               "Check standard: single values (points) and their moving average (line)",
               {.size = 13.0, .bold = true});
  draw_level(drawing, frame, chart.centre, "");
  draw_level(drawing, frame, chart.lower, "6 4");
  draw_level(drawing, frame, chart.upper, "6 4");
  std::vector<Position> average;
  std::vector<Position> upper;
  std::vector<Position> lower;
  for (std::size_t i = 0; i < chart.points.size(); ++i) {
    const metrology::ChartPoint& point = chart.points[i];
    const double x = frame.x.at(static_cast<double>(i) + 1.0);
    average.push_back({x, frame.y.at(point.average)});
    upper.push_back({x, frame.y.at(chart.centre + point.average_limit)});
    lower.push_back({x, frame.y.at(chart.centre - point.average_limit)});
    if (point.is_out) drawing.marker(Shape::ring, {x, frame.y.at(point.value)}, orange, 13.0);
    drawing.marker(Shape::disc, {x, frame.y.at(point.value)}, blue, 5.0);
    if (point.average_is_out)
      drawing.marker(Shape::open_square, {x, frame.y.at(point.average)}, orange, 11.0);
  }
  drawing.polyline(average, {.colour = std::string(blue), .width = 1.6});
  for (const auto& limit : {upper, lower})
    drawing.polyline(limit, {.colour = std::string(blue), .width = 1.0, .dash = "2 3"});
  return document(drawing);
}

}  // namespace windwright::report
