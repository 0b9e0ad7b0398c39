// SPDX-License-Identifier: Apache-2.0
#include "twin/piece.h"

#include <array>

namespace windwright::twin {

double value_in(const Piece& piece, Moving what, double time_s) {
  const double h = piece.end_s - piece.start_s;
  if (h <= 0.0) return piece.last[what];
  const double s = (time_s - piece.start_s) / h;
  const double a = piece.first[what];
  const double slope_a = h * piece.first_rates[what];
  const double slope_b = h * piece.last_rates[what];
  const double rise = piece.last[what] - a;
  return a + s * (slope_a + s * (3.0 * rise - 2.0 * slope_a - slope_b +
                                 s * (slope_a + slope_b - 2.0 * rise)));
}

double parabola(const std::array<double, 3>& values, double part) {
  return values[0] + part * (4.0 * values[1] - 3.0 * values[0] - values[2] +
                             2.0 * part * (values[0] - 2.0 * values[1] + values[2]));
}

}  // namespace windwright::twin
