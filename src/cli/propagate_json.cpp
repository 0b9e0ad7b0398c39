// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "cli/propagate_shown.h"
#include "metrology/propagation.h"

#include <boost/json.hpp>

#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using metrology::PropagatedOutput;

// Null where there is none.
json::value number(double value) {
  return std::isfinite(value) ? json::value(value) : json::value(nullptr);
}

json::array pair(const metrology::Interval& interval) {
  return {number(interval.low), number(interval.high)};
}

json::object series(const metrology::SeriesResult& result, const metrology::SeriesResult& at_95) {
  return {{"value", number(result.value)},       {"u", number(result.u)},
          {"dof", number(result.dof)},           {"expanded_95", number(at_95.expanded)},
          {"interval_95", pair(at_95.interval)}, {"expanded", number(result.expanded)},
          {"interval", pair(result.interval)}};
}

json::object trials(const PropagatedOutput& output, const PropagatedOutput& at_95) {
  const metrology::MonteCarloOutput& got = output.monte_carlo;
  const auto words = [](const std::string& reason) {
    return reason.empty() ? json::value(nullptr) : json::value(reason);
  };
  return {{"value", number(got.value)},
          {"u", number(got.u)},
          {"no_moments", words(metrology::no_moments(got))},
          {"open_moments", words(metrology::open_moments(got))},
          {"interval_95_symmetric", pair(at_95.monte_carlo.intervals.symmetric)},
          {"interval_95_shortest", pair(at_95.monte_carlo.intervals.shortest)},
          {"interval_symmetric", pair(got.intervals.symmetric)},
          {"interval_shortest", pair(got.intervals.shortest)},
          {"trials", got.trials},
          {"not_finite", got.not_finite},
          {"numerical_tolerance", number(got.numerical_tolerance)}};
}

json::object validation(const metrology::Validation& check) {
  return {{"tolerance", number(check.tolerance)},
          {"low_difference", number(check.low_difference)},
          {"high_difference", number(check.high_difference)},
          {"validated", check.validated},
          {"open", check.open},
          {"agreed_digits", check.agreed_digits}};
}

json::array budget(const PropagatedOutput& output, const metrology::BudgetFile& file) {
  json::array rows;
  for (const metrology::InputShare& share : output.budget) {
    const metrology::UncertainInput& input = file.model.inputs[share.input];
    rows.push_back(json::object{{"input", input.name},
                                {"value", number(input.value)},
                                {"u", number(input.standard_uncertainty)},
                                {"dof", number(input.degrees_of_freedom)},
                                {"unit", file.input_units[share.input]},
                                {"sensitivity", number(share.sensitivity)},
                                {"contribution", number(share.contribution)},
                                {"share_pct", number(100.0 * share.share)},
                                {"u_if_halved", number(share.u_if_halved)}});
  }
  return rows;
}

json::array matrix(const std::vector<double>& values, std::size_t size) {
  json::array rows;
  for (std::size_t i = 0; i < size; ++i) {
    json::array row;
    for (std::size_t j = 0; j < size; ++j)
      row.push_back(number(values[i * size + j]));
    rows.push_back(row);
  }
  return rows;
}

json::object region(const metrology::JointRegion& joint) {
  return {{"ellipsoid_factor", number(joint.ellipsoid_factor)},
          {"box_factor", number(joint.box_factor)}};
}

}  // namespace

std::string propagation_json(const ShownPropagation& shown) {
  const metrology::Propagation& result = shown.result;
  const std::size_t size = result.outputs.size();
  json::object outputs;
  for (std::size_t o = 0; o < size; ++o) {
    const PropagatedOutput& one = result.outputs[o];
    const PropagatedOutput& at_95 = shown.at_95.outputs[o];
    outputs[one.name] = json::object{{"equation", shown.budget.model.equations[o]},
                                     {"unit", shown.budget.output_units[o]},
                                     {"first_order", series(one.first_order, at_95.first_order)},
                                     {"second_order", series(one.second_order, at_95.second_order)},
                                     {"second_order_matters", one.second_order_matters},
                                     {"monte_carlo", trials(one, at_95)},
                                     {"first_order_validated", one.first_order_check.validated},
                                     {"first_order_check", validation(one.first_order_check)},
                                     {"second_order_check", validation(one.second_order_check)},
                                     {"budget", budget(one, shown.budget)}};
  }
  // Null where one of both has no standard uncertainty.
  std::vector<double> of_trials = result.monte_carlo.correlation;
  for (std::size_t k = 0; k < of_trials.size(); ++k) {
    for (const std::size_t o : {k / size, k % size}) {
      if (!std::isfinite(result.outputs[o].monte_carlo.u))
        of_trials[k] = std::numeric_limits<double>::quiet_NaN();
    }
  }
  const json::value correlation =
      of_trials.empty() ? json::value(nullptr) : json::value(matrix(of_trials, size));
  json::object document{{"title", shown.budget.title},
                        {"level_pct", 100.0 * shown.options.level},
                        {"seed", shown.options.seed},
                        {"trials", result.monte_carlo.trials},
                        {"adaptive", result.monte_carlo.adaptive},
                        {"stable", result.monte_carlo.stable},
                        {"outputs", outputs},
                        {"correlation", matrix(result.correlation, size)},
                        {"correlation_monte_carlo", correlation}};
  if (result.first_order_joint && result.monte_carlo.joint) {
    document["joint_coverage"] = json::object{{"first_order", region(*result.first_order_joint)},
                                              {"monte_carlo", region(*result.monte_carlo.joint)}};
  }
  json::array remarks;
  for (const std::string& remark : shown.budget.remarks)
    remarks.emplace_back(remark);
  for (const std::string& remark : result.remarks)
    remarks.emplace_back(remark);
  document["remarks"] = remarks;
  return base::json_text(document);
}

}  // namespace windwright::cli
