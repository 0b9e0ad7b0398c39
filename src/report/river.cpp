// SPDX-License-Identifier: Apache-2.0
#include "report/river.h"

#include "report/drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>

namespace windwright::report::river {

std::string leaving_path(Position upper, const Loss& loss, double end_x) {
  const double bend = 0.2 * (end_x - upper.x);
  const double head = std::clamp(0.25 * loss.thick_px, 4.0, 14.0);
  const double y = upper.y + loss.fall_px;
  const auto pair = [](double px, double py) { return coordinate(px) + ' ' + coordinate(py); };
  const double x = upper.x;
  return fmt::format(
      "M{}C{} {} {}L{}L{}L{}L{}L{}L{}C{} {} {}Z", pair(x, upper.y), pair(x + bend, upper.y),
      pair(x + bend, y), pair(x + 2.0 * bend, y), pair(end_x - head, y),
      pair(end_x - head, y - 3.0), pair(end_x, y + 0.5 * loss.thick_px),
      pair(end_x - head, y + loss.thick_px + 3.0), pair(end_x - head, y + loss.thick_px),
      pair(x + 2.0 * bend, y + loss.thick_px), pair(x + bend, y + loss.thick_px),
      pair(x + bend, upper.y + loss.thick_px), pair(x, upper.y + loss.thick_px));
}

}  // namespace windwright::report::river
