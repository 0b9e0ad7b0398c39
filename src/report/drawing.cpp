// SPDX-License-Identifier: Apache-2.0
#include "report/drawing.h"

#include "report/notation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

// A viewer takes the first of these that it has; the PDF is set in the second.
constexpr std::string_view font = "system-ui, DejaVu Sans, sans-serif";

// Half the height of a lower-case letter with a little more: puts `at` in the middle of a line.
constexpr double half_letter_height = 0.35;

std::string attributes(const Stroke& stroke) {
  std::string text =
      fmt::format(" stroke=\"{}\" stroke-width=\"{}\"", stroke.colour, coordinate(stroke.width));
  if (!stroke.dash.empty()) text += fmt::format(" stroke-dasharray=\"{}\"", stroke.dash);
  if (stroke.opacity < 1.0)
    text += fmt::format(" stroke-opacity=\"{}\"", coordinate(stroke.opacity));
  return text;
}

std::string attributes(const Lettering& lettering) {
  constexpr std::string_view anchors[] = {"start", "middle", "end"};
  return fmt::format(" font-size=\"{}\" fill=\"{}\" text-anchor=\"{}\"{}",
                     coordinate(lettering.size), lettering.colour,
                     anchors[static_cast<std::size_t>(lettering.anchor)],
                     lettering.bold ? " font-weight=\"bold\"" : "");
}

std::string polygon_path(Position at, std::span<const Position> corners) {
  std::string path;
  for (const Position& corner : corners) {
    path += fmt::format("{}{} {}", path.empty() ? 'M' : 'L', coordinate(at.x + corner.x),
                        coordinate(at.y + corner.y));
  }
  return path + 'Z';
}

double round_step(double span, int about) {
  const double raw = span / about;
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double factor : {1.0, 2.0, 5.0}) {
    if (raw <= factor * power * (1.0 + 1e-9)) return factor * power;
  }
  return 10.0 * power;
}

/// Cuts the parameter range of a segment against one side; false when nothing is left.
bool cut(double direction, double distance, double& enter, double& leave) {
  if (direction == 0.0) return distance >= 0.0;
  const double at = distance / direction;
  if (direction < 0.0) {
    enter = std::max(enter, at);
  } else {
    leave = std::min(leave, at);
  }
  return enter <= leave;
}

}  // namespace

std::string coordinate(double value) {
  std::string text = fmt::format("{:.2f}", value);
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

Drawing::Drawing(double width, double height, std::string_view description)
    : width_(width), height_(height), description_(description) {}

void Drawing::line(Position from, Position to, const Stroke& stroke) {
  body_ += fmt::format("<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"{}/>\n", coordinate(from.x),
                       coordinate(from.y), coordinate(to.x), coordinate(to.y), attributes(stroke));
}

void Drawing::polyline(std::span<const Position> points, const Stroke& stroke) {
  if (points.size() < 2) return;
  std::string path;
  for (const Position& point : points) {
    if (!path.empty()) path += ' ';
    path += coordinate(point.x) + ',' + coordinate(point.y);
  }
  body_ += fmt::format("<polyline points=\"{}\" fill=\"none\" stroke-linejoin=\"round\"{}/>\n",
                       path, attributes(stroke));
}

void Drawing::area(std::string_view path, std::string_view fill, double opacity) {
  body_ += fmt::format("<path d=\"{}\" fill=\"{}\"", path, fill);
  if (opacity < 1.0) body_ += fmt::format(" fill-opacity=\"{}\"", coordinate(opacity));
  body_ += "/>\n";
}

void Drawing::rectangle(Position corner, double width, double height, std::string_view fill) {
  body_ += fmt::format("<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>\n",
                       coordinate(corner.x), coordinate(corner.y), coordinate(width),
                       coordinate(height), fill);
}

void Drawing::text(Position at, std::string_view text, const Lettering& lettering) {
  body_ += fmt::format("<text x=\"{}\" y=\"{}\"{}>{}</text>\n", coordinate(at.x),
                       coordinate(at.y + half_letter_height * lettering.size),
                       attributes(lettering), escaped(text));
}

void Drawing::upright_text(Position at, std::string_view text, const Lettering& lettering) {
  body_ += fmt::format("<text transform=\"translate({} {}) rotate(-90)\"{}>{}</text>\n",
                       coordinate(at.x + half_letter_height * lettering.size), coordinate(at.y),
                       attributes(lettering), escaped(text));
}

void Drawing::marker(Shape shape, Position at, std::string_view colour, double size) {
  const bool open = shape >= Shape::ring;
  const std::string paint =
      open ? fmt::format("fill=\"#ffffff\" stroke=\"{}\" stroke-width=\"1.4\"", colour)
           : fmt::format("fill=\"{}\" stroke=\"#ffffff\" stroke-width=\"0.6\"", colour);
  const double r = 0.5 * size;
  const double h = 0.9 * r;   // square: same area as the disc, by eye
  const double d = 1.25 * r;  // diamond and triangle
  std::vector<Position> corners;
  switch (shape) {
    case Shape::disc:
    case Shape::ring:
      body_ += fmt::format("<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {}/>\n", coordinate(at.x),
                           coordinate(at.y), coordinate(r), paint);
      return;
    case Shape::square:
    case Shape::open_square:
      corners = {{-h, -h}, {h, -h}, {h, h}, {-h, h}};
      break;
    case Shape::triangle:
    case Shape::open_triangle:
      corners = {{0.0, -d}, {1.1 * r, 0.75 * r}, {-1.1 * r, 0.75 * r}};
      break;
    case Shape::diamond:
    case Shape::open_diamond:
      corners = {{0.0, -d}, {d, 0.0}, {0.0, d}, {-d, 0.0}};
      break;
  }
  body_ += fmt::format("<path d=\"{}\" {}/>\n", polygon_path(at, corners), paint);
}

std::string Drawing::svg() const {
  return fmt::format(
      "<svg role=\"img\" aria-label=\"{}\" width=\"{}\" height=\"{}\" viewBox=\"0 0 {} {}\" "
      "font-family=\"{}\">\n{}</svg>\n",
      escaped(description_), coordinate(width_), coordinate(height_), coordinate(width_),
      coordinate(height_), font, body_);
}

std::string Drawing::document() const {
  constexpr std::string_view opening = "<svg ";
  return fmt::format("<svg xmlns=\"http://www.w3.org/2000/svg\" style=\"background:#ffffff\" {}",
                     svg().substr(opening.size()));
}

Axis::Axis(double low, double high, int about, double from, double to) {
  *this = exact(low, high, about, from, to);
  low_ = std::floor(low_ / step_ + 1e-9) * step_;
  high_ = std::ceil(high_ / step_ - 1e-9) * step_;
  ticks_.clear();
  const auto count = std::lround((high_ - low_) / step_);
  for (long i = 0; i <= count; ++i) {
    ticks_.push_back((std::round(low_ / step_) + static_cast<double>(i)) * step_);
  }
}

Axis Axis::exact(double low, double high, int about, double from, double to) {
  Axis axis;
  if (!(high > low)) {  // one value only: give it room
    const double room = low == 0.0 ? 1.0 : 0.1 * std::abs(low);
    low -= room;
    high += room;
  }
  axis.low_ = low;
  axis.high_ = high;
  axis.from_ = from;
  axis.to_ = to;
  axis.step_ = round_step(high - low, about);
  for (double n = std::ceil(low / axis.step_ - 1e-9); n * axis.step_ <= high + 1e-9 * axis.step_;
       n += 1.0) {
    axis.ticks_.push_back(n * axis.step_);
  }
  return axis;
}

Axis Axis::decades(double low, double high, double from, double to) {
  Axis axis;
  axis.low_ = low;
  axis.high_ = high;
  axis.from_ = from;
  axis.to_ = to;
  axis.in_decades_ = true;
  const auto first = static_cast<int>(std::floor(std::log10(low)));
  const auto last = static_cast<int>(std::floor(std::log10(high)));
  const bool few = std::ceil(std::log10(low) - 1e-9) >= std::floor(std::log10(high) + 1e-9);
  for (int power = first; power <= last; ++power) {
    for (const double factor : {1.0, 2.0, 5.0}) {
      const double tick = factor * std::pow(10.0, power);
      if (factor > 1.0 && !few) continue;
      if (tick >= low * (1.0 - 1e-9) && tick <= high * (1.0 + 1e-9)) axis.ticks_.push_back(tick);
    }
  }
  return axis;
}

double Axis::at(double value) const {
  if (in_decades_) {
    const double share = std::log(std::max(value, low_) / low_) / std::log(high_ / low_);
    return from_ + share * (to_ - from_);
  }
  return from_ + (value - low_) / (high_ - low_) * (to_ - from_);
}

std::string Axis::tick_text(double tick) const {
  if (in_decades_) {
    constexpr std::string_view once = "1 × ";
    const std::string text = number(tick, 1);
    return text.starts_with(once) ? text.substr(once.size()) : text;
  }
  const int decimals = std::clamp(static_cast<int>(-std::floor(std::log10(step_) + 1e-9)), 0, 15);
  return fixed(tick, decimals);
}

std::vector<std::vector<Position>> inside(std::span<const Position> points, Position low,
                                          Position high) {
  std::vector<std::vector<Position>> parts;
  bool continues = false;
  for (std::size_t i = 1; i < points.size(); ++i) {
    const Position a = points[i - 1];
    const Position step{points[i].x - a.x, points[i].y - a.y};
    double enter = 0.0;
    double leave = 1.0;
    const bool seen =
        std::isfinite(step.x) && std::isfinite(step.y) && cut(-step.x, a.x - low.x, enter, leave) &&
        cut(step.x, high.x - a.x, enter, leave) && cut(-step.y, a.y - low.y, enter, leave) &&
        cut(step.y, high.y - a.y, enter, leave);
    if (!seen) {
      continues = false;
      continue;
    }
    if (!continues || enter > 0.0) {
      parts.push_back({{a.x + enter * step.x, a.y + enter * step.y}});
    }
    parts.back().push_back({a.x + leave * step.x, a.y + leave * step.y});
    continues = leave >= 1.0;
  }
  return parts;
}

}  // namespace windwright::report
