// SPDX-License-Identifier: Apache-2.0
#include "report/plot.h"

#include "report/notation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

void Plot::y_frame(std::string_view title) {
  for (const double tick : y_.ticks()) {
    drawing_.line({x_.from(), y_.at(tick)}, {x_.to(), y_.at(tick)},
                  {.colour = tick == 0.0 ? colour::quiet : colour::grid});
    drawing_.text({x_.from() - 6.0, y_.at(tick)}, y_.tick_text(tick),
                  {.size = 11.0, .colour = colour::quiet, .anchor = Anchor::end});
  }
  drawing_.text({4.0, y_.to() - 16.0}, title, {.bold = true});
}

void Plot::x_frame(std::string_view title) {
  drawing_.line({x_.from(), y_.from()}, {x_.to(), y_.from()}, {.colour = colour::quiet});
  for (const double tick : x_.ticks()) {
    drawing_.line({x_.at(tick), y_.from()}, {x_.at(tick), y_.from() + 4.0},
                  {.colour = colour::quiet});
    drawing_.text({x_.at(tick), y_.from() + 12.0}, x_.tick_text(tick),
                  {.size = 11.0, .colour = colour::quiet, .anchor = Anchor::middle});
  }
  drawing_.text({0.5 * (x_.from() + x_.to()), y_.from() + 28.0}, title,
                {.anchor = Anchor::middle, .bold = true});
}

void Plot::line(std::span<const Position> values, const Stroke& stroke) {
  std::vector<Position> points;
  for (const Position& value : values)
    points.push_back(at(value));
  const Position low{x_.from(), std::min(y_.from(), y_.to())};
  const Position high{x_.to(), std::max(y_.from(), y_.to())};
  for (const auto& part : inside(points, low, high))
    drawing_.polyline(part, stroke);
}

void Plot::level(double y, const Stroke& stroke) {
  if (y < y_.low() || y > y_.high()) return;
  drawing_.line({x_.from(), y_.at(y)}, {x_.to(), y_.at(y)}, stroke);
}

void Plot::band(double low, double high, std::string_view fill) {
  const double top = y_.at(std::min(high, y_.high()));
  const double bottom = y_.at(std::max(low, y_.low()));
  if (bottom > top) drawing_.rectangle({x_.from(), top}, x_.to() - x_.from(), bottom - top, fill);
}

void Plot::error_bar(Position value, double half, const Stroke& stroke) {
  if (!(half > 0.0) || !std::isfinite(half)) return;
  const Position ends[] = {{value.x, value.y - half}, {value.x, value.y + half}};
  line(ends, stroke);
}

bool Plot::shows(Position value) const {
  return value.x >= x_.low() && value.x <= x_.high() && value.y >= y_.low() && value.y <= y_.high();
}

void Plot::marker(Shape shape, Position value, std::string_view colour, double size) {
  if (shows(value)) drawing_.marker(shape, at(value), colour, size);
}

void Plot::column(Position value, double width_px, std::string_view colour) {
  if (!std::isfinite(value.y)) return;
  const double y = std::clamp(value.y, y_.low(), y_.high());
  const double top = std::min(y_.at(y), y_.at(0.0));
  const double height = std::max(std::abs(y_.at(y) - y_.at(0.0)), 0.6);
  drawing_.rectangle({x_.at(value.x) - 0.5 * width_px, top}, width_px, height, colour);
  if (y == value.y) return;
  const bool left = x_.at(value.x) > 0.5 * (x_.from() + x_.to());
  drawing_.text(
      {x_.at(value.x) + (left ? -1.0 : 1.0) * width_px, y_.at(y) + (y > 0 ? 7.0 : -7.0)},
      number(value.y, 2),
      {.size = 10.0, .colour = colour::ink, .anchor = left ? Anchor::end : Anchor::start});
}

std::string dots_path(std::span<const Position> at, double size_px) {
  std::string path;
  const std::string side = coordinate(size_px);
  for (const Position& each : at) {
    path += fmt::format("M{} {}h{}v{}h-{}z", coordinate(each.x - 0.5 * size_px),
                        coordinate(each.y - 0.5 * size_px), side, side, side);
  }
  return path;
}

}  // namespace windwright::report
