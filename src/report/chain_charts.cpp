// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"
#include "report/charts.h"
#include "report/drawing.h"
#include "report/notation.h"
#include "report/river.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

constexpr std::string_view ink = "#33393f";
constexpr std::string_view quiet = "#6b747c";

constexpr double top = 78.0;         // of the river
constexpr double widest_px = 150.0;  // the wind
constexpr double fall_px = 20.0;     // by which a loss leaves downwards
constexpr double bar_px = 5.0;

void stage_label(Drawing& drawing, const analysis::Stage& stage, std::size_t index, double x) {
  drawing.text({x, 12.0}, capitalised(stage.name), {.size = 13.0, .bold = true});
  drawing.text({x, 30.0}, with_uncertainty(stage.power_W) + " W", {.colour = std::string(ink)});
  if (index == 0) return;
  drawing.text({x, 46.0}, (index == 1 ? "Cp " : "efficiency ") + with_uncertainty(stage.efficiency),
               {.size = 11.0, .colour = std::string(ink)});
  drawing.text({x, 61.0}, stage.basis, {.size = 10.0, .colour = std::string(quiet)});
}

std::string chain_description(const analysis::PointResult& point) {
  std::string text = "Energy chain:";
  for (const analysis::Stage& stage : point.stages) {
    text += fmt::format(" {} {} W.", stage.name, with_uncertainty(stage.power_W));
  }
  return text;
}

}  // namespace

std::string energy_chain_chart(const analysis::PointResult& point) {
  const std::vector<analysis::Stage>& stages = point.stages;
  if (stages.size() < 2 || !(stages.front().power_W.value() > 0.0)) return {};
  constexpr double width = 760.0;
  constexpr double right_room = 172.0;  // for the last stage's label
  const double step = (width - 8.0 - right_room) / static_cast<double>(stages.size() - 1);
  const double scale = widest_px / stages.front().power_W.value();
  const auto thick = [&](std::size_t i) {
    return std::max(0.75, scale * stages[i].power_W.value());
  };
  Drawing drawing(width, top + widest_px + fall_px + 8.0, chain_description(point));
  for (std::size_t i = 0; i < stages.size(); ++i) {
    const double x = 8.0 + step * static_cast<double>(i);
    const bool last = i + 1 == stages.size();
    const double onward = last ? thick(i) : std::min(thick(i), thick(i + 1));
    drawing.rectangle({x, top}, last ? 70.0 : step, onward, river::water);
    if (last) {
      drawing.area(fmt::format("M{} {}L{} {}L{} {}Z", coordinate(x + 70.0), coordinate(top - 4.0),
                               coordinate(x + 84.0), coordinate(top + 0.5 * onward),
                               coordinate(x + 70.0), coordinate(top + onward + 4.0)),
                   river::water);
    } else {
      const double loss = std::max(0.0, thick(i) - onward);
      const metrology::Estimate lost_W = stages[i].power_W - stages[i + 1].power_W;
      if (loss > 0.0) {
        drawing.area(river::leaving_path({x, top + onward}, {loss, fall_px}, x + 0.84 * step),
                     river::lost);
      }
      // A wide band carries its label, a narrow one has it below.
      const double label =
          loss > 40.0 ? top + onward + fall_px + 0.5 * loss - 7.0 : top + thick(i) + fall_px + 14.0;
      const double label_x = x + (loss > 40.0 ? 0.24 : 0.18) * step;
      drawing.text({label_x, label}, i == 0 ? "stays in the wind" : "lost",
                   {.size = 11.0, .colour = std::string(loss > 40.0 ? ink : quiet)});
      drawing.text({label_x, label + 15.0}, with_uncertainty(lost_W) + " W",
                   {.size = 11.0, .colour = std::string(ink)});
    }
    drawing.rectangle({x, top - 3.0}, bar_px, thick(i) + 6.0, river::bank);
    stage_label(drawing, stages[i], i, x);
  }
  return drawing.svg();
}

std::string difference_chart(const analysis::Verdict& verdict) {
  if (verdict.differences.empty()) return {};
  constexpr double width = 760.0;
  constexpr double row = 21.0;
  constexpr double first = 30.0;
  const double bottom = first + row * static_cast<double>(verdict.differences.size());
  double low = 0.0;
  double high = 0.0;
  for (const analysis::Difference& pair : verdict.differences) {
    const double half = std::isfinite(pair.expanded) ? pair.expanded : 0.0;
    low = std::min(low, pair.difference.value() - half);
    high = std::max(high, pair.difference.value() + half);
  }
  const Axis axis(low, high, 6, 250.0, width - 124.0);
  Drawing drawing(width, bottom + 44.0,
                  "Differences of maximum power coefficients with their expanded uncertainties");
  drawing.text({4.0, 12.0}, "Difference", {.bold = true});
  for (const double tick : axis.ticks()) {
    drawing.line({axis.at(tick), first - 6.0}, {axis.at(tick), bottom},
                 {.colour = tick == 0.0 ? "#33393f" : "#e4e7ea", .width = tick == 0.0 ? 1.4 : 1.0});
    drawing.text({axis.at(tick), bottom + 12.0}, axis.tick_text(tick),
                 {.size = 11.0, .colour = std::string(quiet), .anchor = Anchor::middle});
  }
  drawing.text({0.5 * (axis.from() + axis.to()), bottom + 32.0},
               "difference of maximum power coefficients",
               {.anchor = Anchor::middle, .bold = true});
  for (std::size_t i = 0; i < verdict.differences.size(); ++i) {
    const analysis::Difference& pair = verdict.differences[i];
    const double y = first + row * (static_cast<double>(i) + 0.5);
    const std::string colour(pair.significant ? "#0072b2" : "#6b747c");
    drawing.text({4.0, y}, level_name(pair.a) + "  minus  " + level_name(pair.b));
    if (std::isfinite(pair.expanded)) {
      const double from = axis.at(pair.difference.value() - pair.expanded);
      const double to = axis.at(pair.difference.value() + pair.expanded);
      drawing.line({from, y}, {to, y}, {.colour = colour, .width = 1.8});
      for (const double end : {from, to}) {
        drawing.line({end, y - 4.0}, {end, y + 4.0}, {.colour = colour, .width = 1.4});
      }
    }
    drawing.marker(pair.significant ? Shape::square : Shape::open_square,
                   {axis.at(pair.difference.value()), y}, colour, 9.0);
    drawing.text({width - 108.0, y}, pair.significant ? "significant" : "not significant",
                 {.size = 11.0, .colour = std::string(pair.significant ? ink : quiet)});
  }
  return drawing.svg();
}

}  // namespace windwright::report
