// SPDX-License-Identifier: Apache-2.0
#include "report/groups_charts.h"

#include "report/drawing.h"
#include "report/notation.h"
#include "report/plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using metrology::LevelStudy;
using metrology::Standing;
using metrology::StudiedLevel;

constexpr double width = 760.0;
constexpr double left = 58.0;
constexpr double right = width - 12.0;
constexpr double above = 30.0;
constexpr std::size_t most_names = 45;

std::vector<std::size_t> by_mean(const LevelStudy& study) {
  std::vector<std::size_t> order(study.cells.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return study.cells[a].mean < study.cells[b].mean;
  });
  return order;
}

Standing worst_of(const LevelStudy& study, std::size_t cell) {
  Standing worst = Standing::unsuspicious;
  for (const auto& suspect : study.suspects) {
    if (suspect.cell == cell) worst = std::max(worst, suspect.standing);
  }
  return worst;
}

struct Look {
  Shape shape;
  const char* paint;
};

Look look_of(Standing standing) {
  if (standing == Standing::outlier) return {Shape::diamond, colour::vermilion};
  if (standing == Standing::straggler) return {Shape::open_diamond, colour::vermilion};
  return {Shape::disc, colour::blue};
}

double room_for_names(const StudiedLevel& level) {
  if (level.study.cells.size() > most_names) return 12.0;
  std::size_t longest = 0;
  for (const auto& cell : level.study.cells)
    longest = std::max(longest, cell.group.size());
  return 14.0 + 5.6 * static_cast<double>(std::min<std::size_t>(longest, 24));
}

void names_below(Drawing& drawing, const StudiedLevel& level, const Axis& x, double y) {
  const std::vector<std::size_t> order = by_mean(level.study);
  if (order.size() > most_names) return;
  for (std::size_t i = 0; i < order.size(); ++i) {
    const bool suspect = worst_of(level.study, order[i]) != Standing::unsuspicious;
    drawing.upright_text({x.at(static_cast<double>(i)), y + 6.0},
                         level.study.cells[order[i]].group.substr(0, 24),
                         {.size = 10.0,
                          .colour = suspect ? colour::ink : colour::quiet,
                          .anchor = Anchor::end,
                          .bold = suspect});
  }
}

Axis group_axis(std::size_t groups) {
  return Axis::exact(-0.7, static_cast<double>(groups) - 0.3, 10, left, right);
}

double column_px(std::size_t groups) {
  return std::min(14.0, 0.6 * (right - left) / static_cast<double>(groups));
}

void limits(Plot& plot, double look, double act) {
  for (const double sign : {-1.0, 1.0}) {
    plot.level(sign * look, {.colour = colour::vermilion, .width = 0.9, .dash = "2 3"});
    plot.level(sign * act, {.colour = colour::vermilion, .width = 1.1});
  }
}

// One strip of columns.
struct Strip {
  std::string title;
  std::vector<double> values;  // (cells)
  double look;                 // limit, dotted
  double act;                  // limit, full
};

std::vector<Strip> strips_of(const LevelStudy& study) {
  Strip z{
      study.z_prime ? "score z′ (full line 3: act)" : "score z (full line 3: act)", {}, 2.0, 3.0};
  Strip h{"Mandel’s h, of the means (full line: 1 % point)",
          {},
          study.limits.h_5pct,
          study.limits.h_1pct};
  Strip k{"Mandel’s k, of the repeats’ scatter (full line: 1 % point)",
          {},
          study.limits.k_5pct,
          study.limits.k_1pct};
  for (std::size_t i = 0; i < study.cells.size(); ++i) {
    z.values.push_back(study.scores[i].z);
    h.values.push_back(study.cells[i].h);
    k.values.push_back(study.cells[i].k);
  }
  std::vector<Strip> strips{z, h};
  if (std::isfinite(study.limits.k_1pct)) strips.push_back(k);
  return strips;
}

}  // namespace

std::string groups_chart(const StudiedLevel& level) {
  const LevelStudy& study = level.study;
  const double names = room_for_names(level);
  const double height = 320.0 + names;
  const std::vector<std::size_t> order = by_mean(study);
  double low = study.assigned.value;
  double high = low;
  const auto take = [&](double value) {
    low = std::min(low, value);
    high = std::max(high, value);
  };
  for (std::size_t i = 0; i < order.size(); ++i) {
    const double u = level.level.cells[i].u.value_or(0.0);
    for (const double value : level.level.cells[i].values)
      take(value);
    take(study.cells[i].mean - 2.0 * u);
    take(study.cells[i].mean + 2.0 * u);
  }
  Drawing drawing(width, height,
                  fmt::format("Level {}: means of {} groups against {}.", level.level.name,
                              order.size(), number(study.assigned.value)));
  const Axis x = group_axis(order.size());
  const Axis y(low, high, 6, height - names, above);
  Plot plot(drawing, x, y);
  if (std::isfinite(study.assigned.u)) {
    plot.band(study.assigned.value - 2.0 * study.assigned.u,
              study.assigned.value + 2.0 * study.assigned.u, "#dbe9f2");
  }
  const std::string unit = unit_text(level.unit);
  plot.y_frame("results of the groups" + (unit.empty() ? "" : ", " + unit));
  plot.level(study.assigned.value, {.colour = colour::green, .width = 1.4});
  for (const double sign : {-1.0, 1.0}) {
    plot.level(study.assigned.value + sign * 2.0 * study.assigned.standard_deviation,
               {.colour = colour::quiet, .width = 0.8, .dash = "5 4"});
  }
  for (std::size_t i = 0; i < order.size(); ++i) {
    const std::size_t cell = order[i];
    const Look look = look_of(worst_of(study, cell));
    const Position mean{static_cast<double>(i), study.cells[cell].mean};
    plot.error_bar(mean, 2.0 * level.level.cells[cell].u.value_or(0.0),
                   {.colour = look.paint, .width = 1.2});
    for (const double value : level.level.cells[cell].values)
      plot.marker(Shape::ring, {mean.x, value}, colour::pale, 4.0);
    plot.marker(look.shape, mean, look.paint, look.shape == Shape::disc ? 7.0 : 10.0);
  }
  names_below(drawing, level, x, y.from());
  return drawing.svg();
}

std::string scores_chart(const StudiedLevel& level) {
  constexpr double strip_height = 134.0;
  const LevelStudy& study = level.study;
  const double names = room_for_names(level);
  const std::vector<Strip> strips = strips_of(study);
  const std::vector<std::size_t> order = by_mean(study);
  Drawing drawing(width, strip_height * static_cast<double>(strips.size()) + names + 6.0,
                  "Scores of the groups, and Mandel's h and k.");
  const Axis x = group_axis(order.size());
  double top = 0.0;
  for (const Strip& strip : strips) {
    double high = 0.0;
    double low = 0.0;
    for (const double value : strip.values) {
      high = std::max(high, std::isfinite(value) ? value : 0.0);
      low = std::min(low, std::isfinite(value) ? value : 0.0);
    }
    const double most = 1.5 * strip.act;
    const Axis y(low < 0.0 ? std::clamp(low, -most, -strip.act) : 0.0,
                 std::clamp(high, strip.act, most), 4, top + strip_height - 10.0, top + above);
    Plot plot(drawing, x, y);
    plot.y_frame(strip.title);
    limits(plot, strip.look, strip.act);
    for (std::size_t i = 0; i < order.size(); ++i) {
      const double value = strip.values[order[i]];
      const bool act = std::abs(value) > strip.act;
      plot.column({static_cast<double>(i), value}, column_px(order.size()),
                  act ? colour::vermilion : colour::quiet);
    }
    top += strip_height;
  }
  names_below(drawing, level, x, top);
  return drawing.svg();
}

}  // namespace windwright::report
