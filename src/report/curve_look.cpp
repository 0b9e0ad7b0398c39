// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"
#include "report/charts.h"
#include "report/drawing.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace windwright::report {

CurveLook look_of_curve(std::size_t curve) {
  // Without yellow, which white paper swallows; dark and light in turn, for grey print.
  static constexpr std::array colours{"#0072b2", "#d55e00", "#009e73", "#cc79a7",
                                      "#000000", "#e69f00", "#56b4e9"};
  static constexpr std::array dashes{"",     "7 3", "2 2.5",          "9 3 2 3",
                                     "12 4", "4 2", "5 2 1.5 2 1.5 2"};
  constexpr std::size_t shapes = 8;
  return {.colour = colours.at(curve % colours.size()),
          .dash = dashes.at(curve % dashes.size()),
          .shape = static_cast<Shape>(curve % shapes)};
}

std::optional<metrology::Estimate> fitted_cp(const analysis::Curve& curve,
                                             const analysis::PointResult& point) {
  return curve.stage == "shaft" ? point.cp_shaft : point.cp_electrical;
}

std::optional<std::size_t> best_curve(const analysis::Results& results) {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    const double cp = results.curves[i].maximum_cp.value();
    if (std::isfinite(cp) && (!best || cp > results.curves[*best].maximum_cp.value())) best = i;
  }
  return best;
}

const analysis::PointResult* best_point(const analysis::Curve& curve) {
  const analysis::PointResult* best = nullptr;
  double best_cp = 0.0;
  for (const analysis::PointResult& point : curve.points) {
    const auto cp = fitted_cp(curve, point);
    if (cp && (best == nullptr || cp->value() > best_cp)) {
      best = &point;
      best_cp = cp->value();
    }
  }
  return best;
}

std::string curve_key(std::size_t curve) {
  const CurveLook look = look_of_curve(curve);
  Drawing key(34.0, 12.0, "key");
  key.line({0.0, 6.0}, {34.0, 6.0}, {.colour = look.colour, .width = 1.8, .dash = look.dash});
  key.marker(look.shape, {17.0, 6.0}, look.colour, 8.0);
  return key.svg();
}

std::string share_bar(double share_pct) {
  constexpr double width = 160.0;
  const double share = std::isfinite(share_pct) ? std::clamp(share_pct, 0.0, 100.0) : 0.0;
  Drawing bar(width, 10.0, "share of the variance");
  bar.rectangle({0.0, 4.5}, width, 1.0, "#d5d9dd");
  bar.rectangle({0.0, 0.0}, 0.01 * share * width, 10.0, "#5b6670");
  return bar.svg();
}

}  // namespace windwright::report
