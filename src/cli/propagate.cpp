// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "cli/option_values.h"
#include "cli/propagate_shown.h"
#include "cli/verbs.h"
#include "metrology/budget_file.h"
#include "metrology/propagation.h"
#include "report/budget_chart.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <memory>
#include <optional>
#include <string>

namespace windwright::cli {

namespace {

struct PropagateOptions {
  std::string file;
  std::string trials;
  std::string seed = "1";
  std::string level_pct = "95";
  std::string digits = "2";
  std::string chart;
  bool json = false;
};

double whole_within(const std::string& option, const std::string& text, Limits limits) {
  const double number = number_within(option, text, limits);
  if (number != std::floor(number))
    throw base::BadInput(option, fmt::format("is '{}'", text), "a whole number");
  return number;
}

void run_propagate(const PropagateOptions& options) {
  metrology::PropagationOptions asked;
  if (!options.trials.empty())
    asked.trials = static_cast<std::size_t>(whole_within(
        "--trials", options.trials, {100.0, static_cast<double>(metrology::most_values)}));
  asked.seed = static_cast<std::uint64_t>(whole_within("--seed", options.seed, {0.0, 9e15}));
  asked.level = number_within("--level-pct", options.level_pct, {50.0, 99.9}) / 100.0;
  asked.significant_digits = static_cast<int>(whole_within("--digits", options.digits, {1.0, 4.0}));
  const metrology::BudgetFile budget = metrology::budget_from_file(options.file);
  const metrology::Propagation result = metrology::propagation(budget.model, asked);
  std::optional<metrology::Propagation> at_95;
  if (options.json && asked.level != 0.95) {
    metrology::PropagationOptions usual = asked;
    usual.level = 0.95;
    usual.trials = result.monte_carlo.trials;  // the same trials
    at_95 = metrology::propagation(budget.model, usual);
  }
  if (!options.chart.empty())
    base::write_whole(options.chart, report::budget_picture(budget, result, asked.level));
  const ShownPropagation shown{
      .budget = budget, .options = asked, .result = result, .at_95 = at_95 ? *at_95 : result};
  fmt::print("{}", options.json ? propagation_json(shown) : propagation_text(shown));
}

}  // namespace

void add_propagate(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<PropagateOptions>();  // shared: lives as long as the callback
  CLI::App* verb = program.add_subcommand("propagate",
                                          "Uncertainty of a measurement equation: first and second "
                                          "order and Monte Carlo, side by side, "
                                          "and which input to improve first");
  verb->add_option("budget", options->file,
                   "budget.toml: equations and what is known of their inputs")
      ->required();
  verb->add_option(
      "--trials", options->trials,
      "Monte Carlo trials; left out: as many as it takes until the results are stable");
  verb->add_option("--seed", options->seed, "of the trials: the same seed, the same numbers")
      ->capture_default_str();
  verb->add_option("--level-pct", options->level_pct, "coverage of the intervals, percent")
      ->capture_default_str();
  verb->add_option("--digits", options->digits,
                   "significant digits of the standard uncertainty that matter, 1 to 4")
      ->capture_default_str();
  verb->add_option("--chart", options->chart,
                   "draws intervals and contributions into this SVG file");
  verb->add_flag("--json", options->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright propagate examples/saltmarsh-college/budget.toml\n"
      "  windwright propagate examples/budgets/gum-h1.toml --level-pct 99 --trials 1000000 --json");
  verb->callback([options, &exit_code] {
    run_propagate(*options);
    exit_code = done;
  });
}

}  // namespace windwright::cli
