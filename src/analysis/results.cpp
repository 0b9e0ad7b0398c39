// SPDX-License-Identifier: Apache-2.0
#include "analysis/results.h"

#include "analysis/budget.h"
#include "analysis/comparison.h"
#include "analysis/curve.h"
#include "analysis/point_result.h"
#include "analysis/remarks.h"
#include "analysis/wall_correction.h"
#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

const Curve* best_curve(const std::vector<Curve>& curves) {
  const Curve* best = nullptr;
  for (const Curve& curve : curves) {
    if (!std::isfinite(curve.maximum_cp.value())) continue;
    if (best == nullptr || curve.maximum_cp.value() > best->maximum_cp.value()) best = &curve;
  }
  return best;
}

// Rows of two ages put into one file.
void remark_on_residuals(const std::vector<Point>& points, Remarks& remarks) {
  std::set<std::string> inputs;
  for (const Point& point : points) {
    for (const auto& [name, estimate] : point.quantities) {
      for (const auto& [input, contribution] : estimate.contributions())
        inputs.insert(input);
    }
  }
  for (const std::string& channel : channels_of_two_residuals(inputs)) {
    remarks.sentences.insert(fmt::format(
        "{0}: some points have what its calibration curve does not follow as one error for the "
        "whole range ({0}:residual, an older file), others by stretches of it ({0}:residual-N), so "
        "that it counts as independent between them: reduce the older run again.",
        channel));
  }
}

}  // namespace

Results reduce(const ReductionInput& input) {
  if (input.points.empty()) {
    throw base::BadInput("points", "there are none", "at least one measured test point");
  }
  Remarks remarks;
  std::vector<PointResult> points;
  for (const Point& point : input.points)
    points.push_back(point_result(point, input, remarks));
  Results results;
  results.section = section_of(input);
  if (results.section) correct_for_walls(input, *results.section, points, remarks);
  remark_on_limits(input, results.section, points, remarks);
  remark_on_residuals(input.points, remarks);
  if (results.section) {
    Remarks of_open_air;
    results.open_air_curves = curves_of(open_air_points(points), input, std::nullopt, of_open_air);
    for (const std::string& sentence : of_open_air.sentences)
      remarks.sentences.insert("Corrected to open air, " + sentence);
  }
  results.curves = curves_of(std::move(points), input, results.section, remarks);
  if (input.question != nullptr) {
    results.verdict = compare(results.curves, *input.question);
    if (results.section) {
      results.corrected_verdict = compare(results.open_air_curves, *input.question);
    }
  }
  if (const Curve* best = best_curve(results.curves)) {
    results.budget = budget_of(best->maximum_cp, input.bench);
    results.budget_of = fmt::format("largest {} power coefficient, {}", best->stage, best->label);
  }
  if (const Curve* best = best_curve(results.open_air_curves)) {
    results.corrected_budget = budget_of(best->maximum_cp, input.bench);
    results.corrected_budget_of = fmt::format(
        "largest {} power coefficient corrected to open air, {}", best->stage, best->label);
  }
  results.remarks = sentences(remarks);
  return results;
}

}  // namespace windwright::analysis
