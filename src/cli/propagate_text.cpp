// SPDX-License-Identifier: Apache-2.0
#include "cli/propagate_shown.h"
#include "metrology/propagation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::cli {

namespace {

using metrology::InputShare;
using metrology::PropagatedOutput;

// To two digits of the uncertainty; GUM 7.2.6.
std::string to_digits_of(double value, double u) {
  if (!(u > 0.0) || !std::isfinite(u) || value == 0.0) return fmt::format("{:.6g}", value);
  const int place = static_cast<int>(std::floor(std::log10(u))) - 1;
  const double size = std::max(std::abs(value), u);
  const int digits = static_cast<int>(std::floor(std::log10(size))) - place + 1;
  if (place < -9 || place > 3 || digits > 12)
    return fmt::format("{:.{}g}", value, std::clamp(digits, 2, 12));
  const std::string text = fmt::format("{:.{}f}", value, std::max(0, -place));
  return text.find_first_of("123456789") == std::string::npos ? "0" : text;
}

std::string dof_text(double dof) {
  return std::isfinite(dof) ? fmt::format("{:.1f}", dof) : "large";
}

std::string interval_text(const metrology::Interval& interval, double u) {
  return fmt::format("{} to {}", to_digits_of(interval.low, u), to_digits_of(interval.high, u));
}

std::string answer_row(std::string_view name, const std::string& value, const std::string& u,
                       const std::string& dof, const std::string& interval) {
  return fmt::format("  {:<14}{:>14}{:>12}{:>8}   {}\n", name, value, u, dof, interval);
}

// Where an equation has no derivative its inputs have neither sensitivity nor share.
std::string or_none(double value, const char* format) {
  return std::isfinite(value) ? fmt::format(fmt::runtime(format), value) : "none";
}

std::string series_row(std::string_view name, const metrology::SeriesResult& result) {
  if (!std::isfinite(result.u))
    return answer_row(name, or_none(result.value, "{:.6g}"), "none", "", "no derivative here");
  return answer_row(
      name, to_digits_of(result.value, result.u), fmt::format("{:.2g}", result.u),
      dof_text(result.dof),
      fmt::format("{}, \u00b1 {:.2g}", interval_text(result.interval, result.u), result.expanded));
}

std::string answers(const PropagatedOutput& output, double level) {
  const metrology::MonteCarloOutput& trials = output.monte_carlo;
  const double digits = std::isfinite(trials.u) ? trials.u : output.second_order.u;
  std::string text =
      answer_row("", "value", "u", "dof", fmt::format("{:g} % interval", 100.0 * level));
  text += series_row("first order", output.first_order);
  text += series_row("second order", output.second_order);
  text += answer_row("Monte Carlo",
                     std::isfinite(trials.value) ? to_digits_of(trials.value, digits) : "none",
                     std::isfinite(trials.u) ? fmt::format("{:.2g}", trials.u) : "none", "",
                     interval_text(trials.intervals.symmetric, digits) + ", symmetric");
  text +=
      answer_row("", "", "", "", interval_text(trials.intervals.shortest, digits) + ", shortest");
  return text;
}

std::string verdict(const PropagatedOutput& output) {
  const auto check_text = [](const metrology::Validation& check) {
    std::string word = check.validated ? "yes" : "no";
    if (check.open) word = "not shown, the trials are not stable enough";
    if (!check.validated && !check.open && check.agreed_digits > 0)
      word += fmt::format(" (yes to {} digit{} of u)", check.agreed_digits,
                          check.agreed_digits == 1 ? "" : "s");
    if (!std::isfinite(check.low_difference) || !std::isfinite(check.high_difference))
      return std::string("no: there is no interval to compare with Monte Carlo's");
    return fmt::format(
        "{}: the interval's ends differ by {:.2g} and {:.2g} from Monte Carlo's, "
        "tolerance {:.2g}",
        word, check.low_difference, check.high_difference, check.tolerance);
  };
  std::string text =
      "  First order validated (JCGM 101, 8): " + check_text(output.first_order_check) + ".\n";
  if (output.first_order_check.validated) return text;
  if (output.second_order_check.validated)
    return text + "  Second order validated: " + check_text(output.second_order_check) + ".\n";
  return text + "  Where the last digit counts, state the Monte Carlo interval.\n";
}

// In eighths of a letter.
std::string bar(double share) {
  if (!std::isfinite(share)) return {};
  constexpr std::size_t letters = 20;
  const auto eighths =
      static_cast<std::size_t>(std::lround(std::clamp(std::abs(share), 0.0, 1.0) * 8.0 * letters));
  std::string text;
  for (std::size_t k = 0; k < eighths / 8; ++k)
    text += "\u2588";
  static constexpr const char* part[] = {"",       "\u258f", "\u258e", "\u258d",
                                         "\u258c", "\u258b", "\u258a", "\u2589"};
  return text + part[eighths % 8];
}

// Second order sees inputs that first order misses.
double better_u(const PropagatedOutput& output) {
  return std::isfinite(output.second_order.u) ? output.second_order.u : output.first_order.u;
}

// No -0.
double whole_zero(double value) {
  return std::abs(value) < 0.05 ? 0.0 : value;
}

std::string budget_table(const PropagatedOutput& output, const metrology::BudgetFile& file) {
  std::size_t width = 5;
  for (const metrology::UncertainInput& input : file.model.inputs)
    width = std::max(width, input.name.size());
  std::string text =
      fmt::format("  {:<{}} {:>12} {:>10} {:>7} {:>12} {:>12} {:>10} {:>7}\n", "input", width,
                  "value", "u", "dof", "sensitivity", "contribution", "if halved", "share");
  const double u = better_u(output);
  for (const InputShare& share : output.budget) {
    const metrology::UncertainInput& input = file.model.inputs[share.input];
    const double halved =
        u > 0.0 ? whole_zero(std::round(100.0 * (share.u_if_halved / u - 1.0))) : 0.0;
    text += fmt::format("  {:<{}} {:>12} {:>10.3g} {:>7} {:>12} {:>12} {:>10} {:>7} {}\n",
                        input.name, width, to_digits_of(input.value, input.standard_uncertainty),
                        input.standard_uncertainty, dof_text(input.degrees_of_freedom),
                        or_none(share.sensitivity, "{:.4g}"), or_none(share.contribution, "{:.3g}"),
                        or_none(halved, "{:.0f} %"),
                        or_none(whole_zero(100.0 * share.share), "{:.1f} %"), bar(share.share));
  }
  return text;
}

// The input that is worth most work, and what half of its uncertainty would bring.
std::string advice(const PropagatedOutput& output, const metrology::BudgetFile& file) {
  const double u = better_u(output);
  const auto best = std::ranges::min_element(output.budget, {}, &InputShare::u_if_halved);
  if (!(u > 0.0) || best == output.budget.end() || !(best->u_if_halved < u)) return {};
  if (!std::isfinite(output.monte_carlo.u)) return {};  // there is no u(y) to improve
  return fmt::format(
      "  Improve first: {}. With half its standard uncertainty, u({}) falls from {:.2g} to {:.2g} "
      "(by {:.0f} %).\n",
      file.model.inputs[best->input].name, output.name, u, best->u_if_halved,
      100.0 * (1.0 - best->u_if_halved / u));
}

std::string joint_text(const ShownPropagation& shown) {
  const metrology::Propagation& result = shown.result;
  const std::size_t size = result.outputs.size();
  if (size < 2) return {};
  std::string text = "Correlation of the outputs (first order; Monte Carlo)\n";
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const bool exists = std::isfinite(result.outputs[i].monte_carlo.u) &&
                          std::isfinite(result.outputs[j].monte_carlo.u);
      text += fmt::format(
          "  {}, {}: {}; {}\n", result.outputs[j].name, result.outputs[i].name,
          or_none(result.correlation[i * size + j], "{:.3f}"),
          exists ? fmt::format("{:.3f}", result.monte_carlo.correlation[i * size + j]) : "none");
    }
  }
  if (!result.first_order_joint || !result.monte_carlo.joint) return text;
  const metrology::JointRegion& normal = *result.first_order_joint;
  const metrology::JointRegion& trials = *result.monte_carlo.joint;
  text += fmt::format("All outputs together, {:g} %: within {:.2f} u of each (Monte Carlo {:.2f})",
                      100.0 * shown.options.level, normal.box_factor, trials.box_factor);
  if (std::isfinite(normal.ellipsoid_factor) && std::isfinite(trials.ellipsoid_factor)) {
    text += fmt::format("; ellipsoid of factor {:.2f} ({:.2f})", normal.ellipsoid_factor,
                        trials.ellipsoid_factor);
  } else {
    text += "; no ellipsoid, the outputs determine each other";
  }
  return text + "\n";
}

}  // namespace

std::string propagation_text(const ShownPropagation& shown) {
  std::string text = shown.budget.title.empty() ? "" : shown.budget.title + "\n\n";
  for (std::size_t o = 0; o < shown.result.outputs.size(); ++o) {
    const PropagatedOutput& output = shown.result.outputs[o];
    const std::string& unit = shown.budget.output_units[o];
    text += fmt::format("{} = {}{}\n", output.name, shown.budget.model.equations[o],
                        unit.empty() || unit == "1" ? "" : "   [" + unit + "]");
    text += answers(output, shown.options.level) + verdict(output) + "\n";
    text += budget_table(output, shown.budget) + advice(output, shown.budget) + "\n";
  }
  text += joint_text(shown);
  const metrology::MonteCarlo& trials = shown.result.monte_carlo;
  text += fmt::format("{} trials{}, seed {}.\n", trials.trials,
                      trials.adaptive ? " (as many as it took)" : "", shown.options.seed);
  for (const std::string& remark : shown.budget.remarks)
    text += "Note: " + remark + "\n";
  for (const std::string& remark : shown.result.remarks)
    text += "Note: " + remark + "\n";
  return text;
}

}  // namespace windwright::cli
