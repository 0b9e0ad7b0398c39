// SPDX-License-Identifier: Apache-2.0
#include "report/budget_chart.h"

#include "metrology/budget_file.h"
#include "metrology/propagation.h"
#include "report/drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using metrology::InputShare;
using metrology::PropagatedOutput;

constexpr double width = 760.0;
constexpr double names_end = 170.0;  // names stand left of it
constexpr double plot_end = 560.0;
constexpr double row = 22.0;
constexpr std::size_t most_inputs = 15;  // further ones hardly show
constexpr std::string_view grey = "#5b6670";
constexpr std::string_view pale = "#d5d9dd";
constexpr std::string_view accent = "#0072b2";  // Okabe and Ito's blue

struct Method {
  std::string_view name;
  double value;
  metrology::Interval interval;
  Shape shape;
};

std::vector<Method> methods_of(const PropagatedOutput& output) {
  std::vector<Method> methods;
  const auto series = [&methods](std::string_view name, const metrology::SeriesResult& result) {
    if (std::isfinite(result.u))
      methods.push_back({name, result.value, result.interval, Shape::ring});
  };
  series("first order", output.first_order);
  series("second order", output.second_order);
  const metrology::MonteCarloOutput& trials = output.monte_carlo;
  methods.push_back(
      {"Monte Carlo, symmetric", trials.value, trials.intervals.symmetric, Shape::disc});
  methods.push_back(
      {"Monte Carlo, shortest", trials.value, trials.intervals.shortest, Shape::disc});
  return methods;
}

std::size_t shown_inputs(const PropagatedOutput& output) {
  return std::min(output.budget.size(), most_inputs);
}

double height_of(const PropagatedOutput& output) {
  return 92.0 + row * static_cast<double>(methods_of(output).size() + shown_inputs(output));
}

// From `top` down; returns where it ends.
double draw_intervals(const PropagatedOutput& output, double top, Drawing& drawing) {
  const std::vector<Method> methods = methods_of(output);
  double low = methods.front().interval.low;
  double high = methods.front().interval.high;
  for (const Method& method : methods) {
    low = std::min(low, method.interval.low);
    high = std::max(high, method.interval.high);
  }
  const Axis axis(low, high, 5, names_end, plot_end);
  const double end = top + row * static_cast<double>(methods.size());
  for (const double tick : axis.ticks()) {
    drawing.line({axis.at(tick), top}, {axis.at(tick), end}, {.colour = std::string(pale)});
    drawing.text({axis.at(tick), end + 10.0}, axis.tick_text(tick),
                 {.size = 11.0, .anchor = Anchor::middle});
  }
  double y = top + 0.5 * row;
  for (const Method& method : methods) {
    const std::string colour(method.shape == Shape::disc ? accent : grey);
    drawing.text({names_end - 10.0, y}, method.name, {.anchor = Anchor::end});
    drawing.line({axis.at(method.interval.low), y}, {axis.at(method.interval.high), y},
                 {.colour = colour, .width = 2.0});
    if (std::isfinite(method.value))
      drawing.marker(method.shape, {axis.at(method.value), y}, colour);
    y += row;
  }
  return end + row;
}

double draw_inputs(const PropagatedOutput& output, const metrology::BudgetFile& budget, double top,
                   Drawing& drawing) {
  const double u =
      std::isfinite(output.second_order.u) ? output.second_order.u : output.first_order.u;
  double largest = 0.0;
  for (const InputShare& share : output.budget)
    largest = std::max(largest, share.contribution);
  drawing.text({names_end, top + 0.5 * row}, "contribution to the standard uncertainty",
               {.size = 11.0});
  drawing.text({width - 20.0, top + 0.5 * row}, "share; u if halved",
               {.size = 11.0, .anchor = Anchor::end});
  double y = top + row;
  for (std::size_t k = 0; k < shown_inputs(output); ++k) {
    const InputShare& share = output.budget[k];
    const double length =
        largest > 0.0 ? share.contribution / largest * (plot_end - names_end) : 0.0;
    drawing.text({names_end - 10.0, y + 0.5 * row}, budget.model.inputs[share.input].name,
                 {.anchor = Anchor::end});
    drawing.rectangle({names_end, y + 4.0}, std::max(length, 0.5), row - 8.0, grey);
    const double change = u > 0.0 ? std::round(100.0 * (share.u_if_halved / u - 1.0)) : 0.0;
    drawing.text({width - 20.0, y + 0.5 * row},
                 fmt::format("{:.1f} %; {}", 100.0 * share.share,
                             change == 0.0 ? "0 %" : fmt::format("{:+.0f} %", change)),
                 {.anchor = Anchor::end});
    y += row;
  }
  return y + row;
}

std::string heading(const metrology::BudgetFile& budget, const PropagatedOutput& output,
                    std::size_t o, double level) {
  const std::string& unit = budget.output_units[o];
  return fmt::format("{}{}: {:g} % intervals; first order {}validated", output.name,
                     unit.empty() || unit == "1" ? "" : ", " + unit, 100.0 * level,
                     output.first_order_check.validated ? "" : "not ");
}

}  // namespace

std::string budget_picture(const metrology::BudgetFile& budget,
                           const metrology::Propagation& result, double level) {
  double height = budget.title.empty() ? 10.0 : 40.0;
  for (const PropagatedOutput& output : result.outputs)
    height += height_of(output);
  Drawing drawing(width, height,
                  fmt::format("Uncertainty of {}: intervals by method, contributions by input",
                              budget.title.empty() ? "a measurement" : budget.title));
  double y = 20.0;
  if (!budget.title.empty()) {
    drawing.text({20.0, y}, budget.title, {.size = 15.0, .bold = true});
    y += 30.0;
  }
  for (std::size_t o = 0; o < result.outputs.size(); ++o) {
    const PropagatedOutput& output = result.outputs[o];
    drawing.text({20.0, y}, heading(budget, output, o, level), {.bold = true});
    y = draw_intervals(output, y + 14.0, drawing);
    y = draw_inputs(output, budget, y + 4.0, drawing) + 6.0;
  }
  return drawing.document();
}

}  // namespace windwright::report
