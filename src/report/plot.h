// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "report/drawing.h"

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

/// Colours that all pictures share: letters, what stands behind, and Okabe and Ito's blue,
/// vermilion and green (Color Universal Design, 2008).
namespace colour {
inline constexpr const char* ink = "#33393f";
inline constexpr const char* quiet = "#6b747c";
inline constexpr const char* grid = "#e4e7ea";
inline constexpr const char* pale = "#a7afb6";
inline constexpr const char* blue = "#0072b2";
inline constexpr const char* vermilion = "#d55e00";
inline constexpr const char* green = "#009e73";
}  // namespace colour

/// One pair of axes and what is drawn between them, all in the axes' units and cut off at
/// their ends. The drawing must outlive it.
class Plot {
 public:
  Plot(Drawing& drawing, const Axis& x, const Axis& y) : drawing_(drawing), x_(x), y_(y) {}

  /// Grid and ticks of the y axis, the title above it.
  void y_frame(std::string_view title);
  /// Ticks of the x axis, the title below it.
  void x_frame(std::string_view title);

  void line(std::span<const Position> values, const Stroke& stroke);
  /// A level line from end to end.
  void level(double y, const Stroke& stroke);
  /// A band from end to end, between two levels.
  void band(double low, double high, std::string_view fill);
  /// From y - half to y + half; nothing for a half that is not above 0 and finite.
  void error_bar(Position value, double half, const Stroke& stroke);
  /// Not drawn outside of the axes.
  void marker(Shape shape, Position value, std::string_view colour, double size = 7.0);
  /// A bar from 0 to y. Cut off at the axis' end, it carries its value there.
  void column(Position value, double width_px, std::string_view colour);

  Position at(Position value) const { return {x_.at(value.x), y_.at(value.y)}; }
  bool shows(Position value) const;

 private:
  Drawing& drawing_;
  const Axis& x_;
  const Axis& y_;
};

/// Many small dots as one shape.
std::string dots_path(std::span<const Position> at, double size_px);

}  // namespace windwright::report
