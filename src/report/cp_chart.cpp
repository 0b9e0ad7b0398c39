// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"
#include "report/charts.h"
#include "report/drawing.h"
#include "report/notation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::report {

namespace {

using analysis::Curve;
using analysis::PointResult;
using analysis::Results;

constexpr std::string_view ink = "#33393f";
constexpr std::string_view quiet = "#6b747c";
constexpr std::string_view grid = "#e4e7ea";
constexpr std::string_view left_out = "#a7afb6";  // of the fit: had not settled
constexpr double widest_bar_part = 0.1;  // of what is measured: a wider bar does not widen an axis
constexpr double shortest_bar_px = 1.5;  // a shorter error bar hides behind its marker

double half_width(const metrology::Estimate& estimate) {
  const double expanded = has_uncertainty(estimate) ? estimate.expanded() : 0.0;
  return std::isfinite(expanded) ? expanded : 0.0;
}

double fit_at(const Curve& curve, double tip_speed_ratio) {
  double cp = 0.0;
  for (auto it = curve.fit.rbegin(); it != curve.fit.rend(); ++it)
    cp = cp * tip_speed_ratio + *it;
  return cp;
}

double theory_cp(const Curve& curve, const analysis::TheoryPoint& point) {
  return curve.stage == "shaft" ? point.cp_shaft : point.cp_electrical;
}

/// One pair of axes and what is drawn between them.
class Panel {
 public:
  Panel(Drawing& drawing, const Axis& ratio, const Axis& cp)
      : drawing_(drawing), ratio_(ratio), cp_(cp) {}

  void grid_lines() {
    for (const double tick : cp_.ticks()) {
      drawing_.line({ratio_.from(), cp_.at(tick)}, {ratio_.to(), cp_.at(tick)},
                    {.colour = std::string(tick == 0.0 ? quiet : grid)});
    }
    drawing_.line({ratio_.from(), cp_.from()}, {ratio_.to(), cp_.from()},
                  {.colour = std::string(quiet)});
    for (const double tick : ratio_.ticks()) {
      drawing_.line({ratio_.at(tick), cp_.from()}, {ratio_.at(tick), cp_.from() + 4.0},
                    {.colour = std::string(quiet)});
    }
  }

  void tick_texts(bool cp, bool ratio, double size) {
    const Lettering left{.size = size, .colour = std::string(quiet), .anchor = Anchor::end};
    const Lettering below{.size = size, .colour = std::string(quiet), .anchor = Anchor::middle};
    if (cp) {
      for (const double tick : cp_.ticks()) {
        drawing_.text({ratio_.from() - 6.0, cp_.at(tick)}, cp_.tick_text(tick), left);
      }
    }
    if (ratio) {
      for (const double tick : ratio_.ticks()) {
        drawing_.text({ratio_.at(tick), cp_.from() + 12.0}, ratio_.tick_text(tick), below);
      }
    }
  }

  void clipped_line(const std::vector<Position>& points, const Stroke& stroke) {
    const Position low{ratio_.from(), std::min(cp_.from(), cp_.to())};
    const Position high{ratio_.to(), std::max(cp_.from(), cp_.to())};
    for (const auto& part : inside(points, low, high))
      drawing_.polyline(part, stroke);
  }

  void theory(const Curve& curve, const Stroke& stroke) {
    std::vector<Position> points;
    for (const analysis::TheoryPoint& point : curve.theory) {
      const double cp = theory_cp(curve, point);
      if (std::isfinite(cp)) points.push_back({ratio_.at(point.tip_speed_ratio), cp_.at(cp)});
    }
    clipped_line(points, stroke);
  }

  void fit(const Curve& curve, const Stroke& stroke) {
    if (curve.fit.empty()) return;
    constexpr int steps = 80;
    std::vector<Position> points;
    for (int i = 0; i <= steps; ++i) {
      const double ratio = std::lerp(curve.fit_range[0], curve.fit_range[1], i / double(steps));
      points.push_back({ratio_.at(ratio), cp_.at(fit_at(curve, ratio))});
    }
    clipped_line(points, stroke);
  }

  /// Error bars of one value, as far as they lie inside the panel: `u_ratio` and `u_cp` are
  /// half-widths in the axes' units.
  void bars(Position value, double u_ratio, double u_cp, const Stroke& stroke) {
    const Position at = position(value);
    const double across = std::abs(ratio_.at(u_ratio) - ratio_.at(0.0));
    const double along = std::abs(cp_.at(u_cp) - cp_.at(0.0));
    // A bar across half the picture says that its point hardly counts: it stays in the background.
    const bool off_scale = along > 0.25 * std::abs(cp_.to() - cp_.from());
    const Stroke drawn =
        off_scale ? Stroke{.colour = stroke.colour, .width = 0.6, .opacity = 0.5} : stroke;
    if (across > shortest_bar_px) {
      clipped_line({{at.x - across, at.y}, {at.x + across, at.y}}, drawn);
    }
    if (along > shortest_bar_px) {
      clipped_line({{at.x, at.y - along}, {at.x, at.y + along}}, drawn);
    }
  }

  void points(const Curve& curve, const CurveLook& look, double size) {
    for (const PointResult& point : curve.points) {
      const auto cp = fitted_cp(curve, point);
      if (!cp) continue;
      bars({point.tip_speed_ratio.value(), cp->value()}, half_width(point.tip_speed_ratio),
           half_width(*cp), {.colour = look.colour, .width = 1.0});
    }
    for (const PointResult& point : curve.points) {
      const auto cp = fitted_cp(curve, point);
      if (!cp) continue;
      drawing_.marker(look.shape, position({point.tip_speed_ratio.value(), cp->value()}),
                      point.settled ? look.colour : std::string(left_out), size);
    }
  }

  void optimum(const Curve& curve) {
    if (!curve.optimum_tip_speed_ratio) return;
    const Position value{curve.optimum_tip_speed_ratio->value(), curve.maximum_cp.value()};
    const double u_ratio = half_width(*curve.optimum_tip_speed_ratio);
    const double u_cp = half_width(curve.maximum_cp);
    bars(value, u_ratio, u_cp, {.colour = "#ffffff", .width = 5.0, .opacity = 0.8});
    bars(value, u_ratio, u_cp, {.colour = "#111111", .width = 2.0});
    drawing_.marker(Shape::ring, position(value), "#111111", 9.0);
  }

  bool shows(Position value) const { return value.y >= cp_.low() && value.y <= cp_.high(); }
  Position position(Position value) const { return {ratio_.at(value.x), cp_.at(value.y)}; }
  /// Where a curve ends on the right: its fit, or its last point.
  Position end_of(const Curve& curve) const {
    if (!curve.fit.empty()) {
      return position({curve.fit_range[1], fit_at(curve, curve.fit_range[1])});
    }
    const auto cp = curve.points.empty() ? std::nullopt : fitted_cp(curve, curve.points.back());
    if (!cp) return {ratio_.to(), cp_.from()};
    return position({curve.points.back().tip_speed_ratio.value(), cp->value()});
  }

 private:
  Drawing& drawing_;
  const Axis& ratio_;
  const Axis& cp_;
};

/// Places labels one below the other, near where they belong and never closer than `apart`.
std::vector<double> spread(const std::vector<double>& wanted, double apart, double low,
                           double high) {
  std::vector<std::size_t> order(wanted.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(),
                   [&](std::size_t a, std::size_t b) { return wanted[a] < wanted[b]; });
  std::vector<double> placed(wanted.size());
  double next = low;
  for (const std::size_t i : order) {
    placed[i] = std::max(wanted[i], next);
    next = placed[i] + apart;
  }
  double bound = high;
  for (auto it = order.rbegin(); it != order.rend(); ++it) {
    placed[*it] = std::min(placed[*it], bound);
    bound = placed[*it] - apart;
  }
  return placed;
}

void label_ends(Drawing& drawing, const Panel& panel, const Results& results, double gutter,
                const Axis& cp) {
  std::vector<double> wanted;
  for (const Curve& curve : results.curves)
    wanted.push_back(panel.end_of(curve).y);
  const std::vector<double> placed = spread(wanted, 17.0, cp.to() + 8.0, cp.from() - 8.0);
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    const CurveLook look = look_of_curve(i);
    const Position end = panel.end_of(results.curves[i]);
    drawing.line({end.x + 5.0, end.y}, {gutter + 4.0, placed[i]},
                 {.colour = "#a7afb6", .width = 0.8});
    drawing.line({gutter + 4.0, placed[i]}, {gutter + 26.0, placed[i]},
                 {.colour = look.colour, .width = 1.8, .dash = look.dash});
    drawing.marker(look.shape, {gutter + 15.0, placed[i]}, look.colour, 8.0);
    drawing.text({gutter + 32.0, placed[i]}, level_name(results.curves[i].label),
                 {.colour = std::string(ink)});
  }
}

/// The best curve's optimum carried down to the axis.
void drop_line(Drawing& drawing, const Panel& panel, const Curve& curve, const Axis& cp) {
  if (!curve.optimum_tip_speed_ratio) return;
  const metrology::Estimate& optimum = *curve.optimum_tip_speed_ratio;
  const Position top =
      panel.position({curve.optimum_tip_speed_ratio->value(), curve.maximum_cp.value()});
  drawing.line({top.x, top.y + 6.0}, {top.x, cp.from()},
               {.colour = std::string(quiet), .width = 0.9, .dash = "1.5 2.5"});
  drawing.text(
      {top.x + 5.0, cp.from() - 9.0},
      "optimum " + (has_uncertainty(optimum) ? with_uncertainty(optimum) : value_alone(optimum)),
      {.size = 11.0, .colour = std::string(ink)});
}

std::string cp_words(const Results& results) {
  return results.curves.front().stage == "shaft"
             ? "Power coefficient at the shaft: shaft power over wind power"
             : "Electrical power coefficient: DC power over wind power";
}

/// Measured minus fit, where there is a fit to subtract.
std::optional<double> residual(const Curve& curve, const PointResult& point) {
  const auto cp = fitted_cp(curve, point);
  const double ratio = point.tip_speed_ratio.value();
  if (!cp || curve.fit.empty() || ratio < curve.fit_range[0] || ratio > curve.fit_range[1]) {
    return std::nullopt;
  }
  return cp->value() - fit_at(curve, ratio);
}

/// A point that hardly counts (its own uncertainty is that large) must not set the scale.
double widest_residual(const Results& results) {
  double largest_cp = 0.0;
  for (const Curve& curve : results.curves) {
    largest_cp = std::max(largest_cp, std::abs(curve.maximum_cp.value()));
  }
  double widest = 0.0;
  for (const Curve& curve : results.curves) {
    for (const PointResult& point : curve.points) {
      const auto left = residual(curve, point);
      if (!left || !point.settled) continue;
      const double random = 2.0 * fitted_cp(curve, point)->u_random();
      if (random < widest_bar_part * largest_cp)
        widest = std::max(widest, std::abs(*left) + random);
    }
  }
  return std::isfinite(widest) ? widest : 0.0;
}

void residuals(Panel& panel, const Curve& curve, const CurveLook& look, Drawing& drawing) {
  for (const PointResult& point : curve.points) {
    const auto left = residual(curve, point);
    if (!left) continue;
    const Position value{point.tip_speed_ratio.value(), *left};
    panel.bars(value, 0.0, 2.0 * fitted_cp(curve, point)->u_random(),
               {.colour = look.colour, .width = 1.0});
    if (panel.shows(value)) drawing.marker(look.shape, panel.position(value), look.colour, 5.0);
  }
}

}  // namespace

CpRange cp_range(const Results& results) {
  CpRange values{1e300, -1e300, 1e300, -1e300};
  const auto include = [](double& low, double& high, double value, double half) {
    if (!std::isfinite(value)) return;
    low = std::min(low, value - half);
    high = std::max(high, value + half);
  };
  const auto each_point = [&results](const auto& use) {
    for (const Curve& curve : results.curves) {
      for (const PointResult& point : curve.points) {
        if (const auto cp = fitted_cp(curve, point)) use(point.tip_speed_ratio, *cp);
      }
    }
  };
  each_point([&](const auto& ratio, const auto& cp) {
    include(values.low_ratio, values.high_ratio, ratio.value(), 0.0);
    include(values.low_cp, values.high_cp, cp.value(), 0.0);
  });
  CpRange range = values;
  each_point([&](const auto& ratio, const auto& cp) {
    const double across = half_width(ratio);
    const double along = half_width(cp);
    if (across < widest_bar_part * (values.high_ratio - values.low_ratio)) {
      include(range.low_ratio, range.high_ratio, ratio.value(), across);
    }
    if (along < widest_bar_part * (values.high_cp - values.low_cp)) {
      include(range.low_cp, range.high_cp, cp.value(), along);
    }
  });
  for (const Curve& curve : results.curves) {
    for (const analysis::TheoryPoint& point : curve.theory) {
      if (point.tip_speed_ratio >= range.low_ratio && point.tip_speed_ratio <= range.high_ratio) {
        double ignored = 0.0;  // theory may leave below, where nothing was measured
        include(ignored, range.high_cp, theory_cp(curve, point), 0.0);
      }
    }
  }
  if (range.low_ratio > range.high_ratio) return {0.0, 1.0, 0.0, 1.0};
  // Zero belongs on the axis unless it would squeeze the curves into its upper half.
  if (range.low_cp > 0.0 && range.low_cp < 0.5 * range.high_cp) range.low_cp = 0.0;
  if (values.low_cp >= 0.0) range.low_cp = std::max(range.low_cp, 0.0);  // no axis for a bar's end
  return range;
}

std::string cp_chart(const Results& results) {
  if (results.curves.empty()) return {};
  constexpr double width = 760.0;
  constexpr double height = 400.0;
  constexpr double gutter = 600.0;  // labels stand right of it
  const CpRange range = cp_range(results);
  const double room = 0.02 * (range.high_ratio - range.low_ratio);
  const Axis ratio =
      Axis::exact(range.low_ratio - room, range.high_ratio + room, 8, 46.0, gutter - 6.0);
  const Axis cp(range.low_cp, range.high_cp, 7, height - 40.0, 34.0);
  std::string description = cp_words(results) + " against tip-speed ratio.";
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    description += fmt::format(" {}: maximum {}.", level_name(results.curves[i].label),
                               with_uncertainty(results.curves[i].maximum_cp));
  }
  Drawing drawing(width, height, description);
  Panel panel(drawing, ratio, cp);
  panel.grid_lines();
  panel.tick_texts(true, true, 12.0);
  drawing.text({4.0, 14.0}, cp_words(results), {.bold = true});
  drawing.text({0.5 * (ratio.from() + ratio.to()), height - 10.0}, "tip-speed ratio",
               {.anchor = Anchor::middle, .bold = true});
  const auto best = best_curve(results);
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    panel.theory(results.curves[i],
                 {.colour = look_of_curve(i).colour, .width = 0.8, .opacity = 0.75});
  }
  if (best) drop_line(drawing, panel, results.curves[*best], cp);
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    const CurveLook look = look_of_curve(i);
    panel.fit(results.curves[i], {.colour = look.colour, .width = 1.8, .dash = look.dash});
  }
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    panel.points(results.curves[i], look_of_curve(i), 7.0);
  }
  for (const Curve& curve : results.curves)
    panel.optimum(curve);
  label_ends(drawing, panel, results, gutter, cp);
  return drawing.svg();
}

std::vector<std::string> curve_panels(const Results& results) {
  const std::size_t curves = results.curves.size();
  const std::size_t columns = curves == 2 || curves == 4 ? 2 : std::min<std::size_t>(curves, 3);
  constexpr double width = 760.0;
  constexpr double left = 46.0;
  const double pitch = (width - left) / static_cast<double>(columns);
  const double panel_width = pitch - 16.0;
  constexpr double height = 246.0;
  const CpRange range = cp_range(results);
  const double room = 0.03 * (range.high_ratio - range.low_ratio);
  const double widest = widest_residual(results);
  std::vector<std::string> rows;
  for (std::size_t first = 0; first < results.curves.size(); first += columns) {
    const std::size_t end = std::min(first + columns, results.curves.size());
    std::string names;
    for (std::size_t i = first; i < end; ++i) {
      names += (i == first ? "" : "; ") + level_name(results.curves[i].label);
    }
    Drawing drawing(width, height,
                    "Each curve over its theory, and below it measured minus fit: " + names);
    for (std::size_t i = first; i < end; ++i) {
      const Curve& curve = results.curves[i];
      const CurveLook look = look_of_curve(i);
      const double from = left + pitch * static_cast<double>(i - first);
      const Axis ratio =
          Axis::exact(range.low_ratio - room, range.high_ratio + room, 5, from, from + panel_width);
      const Axis cp(range.low_cp, range.high_cp, 4, 150.0, 24.0);
      Panel above(drawing, ratio, cp);
      above.grid_lines();
      above.tick_texts(i == first, false, 10.5);
      drawing.text({from, 9.0}, level_name(results.curves[i].label), {.bold = true});
      above.theory(curve, {.colour = std::string(ink), .width = 0.9});
      above.fit(curve, {.colour = look.colour, .width = 1.6, .dash = look.dash});
      above.points(curve, look, 5.5);
      if (curve.fit.empty() || widest == 0.0) continue;
      const Axis left_over(-widest, widest, 2, 222.0, 172.0);
      Panel below(drawing, ratio, left_over);
      below.grid_lines();
      below.tick_texts(i == first, true, 10.5);
      residuals(below, curve, look, drawing);
      if (curve.fit_u_scatter > 0.0) {
        drawing.text({ratio.to(), 165.0}, "scatter " + uncertainty_alone(curve.fit_u_scatter),
                     {.size = 10.0, .colour = std::string(quiet), .anchor = Anchor::end});
      }
    }
    rows.push_back(drawing.svg());
  }
  return rows;
}

}  // namespace windwright::report
