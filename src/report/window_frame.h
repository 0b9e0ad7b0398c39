// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"
#include "report/drawing.h"
#include "report/plot.h"

#include <cstddef>
#include <string>
#include <string_view>

namespace windwright::report {

/// What the pictures of a recording's window have in common: places of their axes, headline, line
/// of figures, and a key above the axes so that it hides nothing.
struct WindowFrame {
  /// @param keys  lines of the key
  explicit WindowFrame(std::size_t keys = 0);

  double width = 960.0;
  double height;
  double left = 82.0;
  double right = width - 24.0;
  double top;
  double bottom;

  void head(Drawing& drawing, std::string_view headline, std::string_view figures) const;
  /// A line of the key, downwards.
  void key(Drawing& drawing, std::size_t row, const Stroke& stroke, std::string_view text) const;
  /// Upwards, for values that are all within, with a little room.
  Axis value_axis(double low, double high) const;
};

/// Channel and unit: `rotor_speed_rad_s, rad/s`.
std::string title_of(const analysis::SeenChannel& seen);
/// Where the values come from.
std::string source_words(const analysis::SeenChannel& seen);
/// An axis that holds the values with a little room at both ends.
Axis roomy_axis(double low, double high, double from, double to);

}  // namespace windwright::report
