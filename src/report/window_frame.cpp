// SPDX-License-Identifier: Apache-2.0
#include "report/window_frame.h"

#include "report/drawing.h"
#include "report/notation.h"
#include "report/plot.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>

namespace windwright::report {

namespace {

constexpr double row_px = 16.0;

}  // namespace

// Up to two lines of the key stand beside the title of the axis.
WindowFrame::WindowFrame(std::size_t keys)
    : height(440.0 + row_px * std::max(0.0, static_cast<double>(keys) - 2.0)),
      top(height - 366.0),
      bottom(height - 46.0) {}

void WindowFrame::head(Drawing& drawing, std::string_view headline,
                       std::string_view figures) const {
  drawing.text({4.0, 14.0}, headline, {.size = 15.0, .bold = true});
  drawing.text({4.0, 33.0}, figures, {.size = 12.0});
}

void WindowFrame::key(Drawing& drawing, std::size_t row, const Stroke& stroke,
                      std::string_view text) const {
  const double y = 50.0 + row_px * static_cast<double>(row);
  drawing.line({right - 30.0, y}, {right, y}, stroke);
  drawing.text({right - 36.0, y}, text, {.size = 11.0, .anchor = Anchor::end});
}

Axis WindowFrame::value_axis(double low, double high) const {
  return roomy_axis(low, high, bottom, top);
}

std::string title_of(const analysis::SeenChannel& seen) {
  return seen.channel + (seen.unit == "1" ? "" : ", " + unit_text(seen.unit));
}

std::string source_words(const analysis::SeenChannel& seen) {
  return seen.calibrated ? "through the certificate recorded with them"
                         : "volts at the converter: no certificate";
}

Axis roomy_axis(double low, double high, double from, double to) {
  const double room = std::max(1e-12 + 1e-9 * std::abs(high), 0.05 * (high - low));
  return Axis::exact(low - room, high + room, 6, from, to);
}

}  // namespace windwright::report
