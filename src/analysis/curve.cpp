// SPDX-License-Identifier: Apache-2.0
#include "analysis/curve.h"

#include "analysis/curve_peak.h"
#include "analysis/peak_fit.h"
#include "analysis/remarks.h"
#include "analysis/results.h"
#include "analysis/theory.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();

std::string number(double value) {
  return fmt::format("{:.6g}", value);
}

std::vector<Curve> grouped(std::vector<PointResult> points) {
  using Key = std::tuple<int, double, std::map<std::string, double>>;
  std::map<Key, Curve> groups;
  for (PointResult& point : points) {
    Curve& curve = groups[{point.blade_count, point.pitch_deg, point.block_settings}];
    curve.blade_count = point.blade_count;
    curve.pitch_deg = point.pitch_deg;
    curve.block_settings = point.block_settings;
    curve.points.push_back(std::move(point));
  }
  std::vector<Curve> curves;
  for (auto& [key, curve] : groups) {
    std::stable_sort(curve.points.begin(), curve.points.end(),
                     [](const PointResult& a, const PointResult& b) {
                       return a.tip_speed_ratio.value() < b.tip_speed_ratio.value();
                     });
    curves.push_back(std::move(curve));
  }
  return curves;
}

void label(std::vector<Curve>& curves) {
  for (Curve& curve : curves) {
    curve.label = fmt::format("{} {}, {} deg", curve.blade_count,
                              curve.blade_count == 1 ? "blade" : "blades", number(curve.pitch_deg));
    for (const auto& [name, value] : curve.block_settings) {
      const bool differs = std::any_of(curves.begin(), curves.end(), [&](const Curve& other) {
        const auto found = other.block_settings.find(name);
        return found == other.block_settings.end() || found->second != value;
      });
      if (differs) curve.label += fmt::format(", {} {}", name, number(value));
    }
  }
}

// What the choice of the degree does to one curve alone is no common error of several.
Estimate with_own_degree(const Estimate& estimate, const std::string& label) {
  auto contributions = estimate.contributions();
  double variance = 0.0;
  std::erase_if(contributions, [&](const auto& each) {
    const bool degree = each.first.starts_with("degree-of-fit-");
    if (degree) variance += each.second.u * each.second.u;
    return degree;
  });
  Estimate result(estimate.value(), std::move(contributions));
  if (variance > 0.0)
    result.add("degree-of-fit#" + label, {.u = std::sqrt(variance), .dof = infinity});
  return result;
}

void take_peak(const FittedCurve& fitted, Curve& curve) {
  const PeakFit& fit = fitted.fit;
  double scatter = 0.0;
  for (const PointResult* point : fitted.points) {
    double value = 0.0;
    for (std::size_t k = fit.coefficients.size(); k-- > 0;)
      value = value * point->tip_speed_ratio.value() + fit.coefficients[k];
    scatter += std::pow(cp_of(curve, *point)->value() - value, 2);
  }
  curve.fit_u_scatter = std::sqrt(scatter / fit.degrees_of_freedom);
  curve.optimum_tip_speed_ratio = with_own_degree(fitted.optimum_tip_speed_ratio, curve.label);
  curve.maximum_cp = with_own_degree(fitted.maximum_cp, curve.label);
  curve.fit = fit.coefficients;
  curve.fit_range[0] = fitted.points.front()->tip_speed_ratio.value();
  curve.fit_range[1] = fitted.points.back()->tip_speed_ratio.value();
  curve.maximum_basis = fmt::format("maximum of a polynomial of degree {} through {} points",
                                    fit.coefficients.size() - 1, fitted.points.size());
}

void take_largest_point(const FitPoints& points, const char* why, Curve& curve, Remarks& remarks) {
  const PointResult* best = nullptr;
  for (const PointResult* point : points) {
    if (best == nullptr || cp_of(curve, *point)->value() > cp_of(curve, *best)->value()) {
      best = point;
    }
  }
  if (best == nullptr) {
    curve.maximum_cp = Estimate(std::numeric_limits<double>::quiet_NaN());
    curve.maximum_basis = "no settled point with a power";
    return;
  }
  curve.maximum_cp = *cp_of(curve, *best);
  curve.maximum_basis = fmt::format("largest measured point: {}", why);
  remarks.sentences.insert(fmt::format(
      "{}: the maximum is the largest measured point, not that of a fit: {}.", curve.label, why));
}

// How well the pitch was set counts once for each mounting, and where curves are compared or read
// at their nominal pitch.
void add_pitch_setting(const TheoryInput& input, Curve& curve) {
  if (input.reduction.bench == nullptr) return;
  const auto& actuators = input.reduction.bench->actuators;
  const auto pitch = std::find_if(actuators.begin(), actuators.end(),
                                  [](const auto& each) { return each.name == "pitch_deg"; });
  if (pitch == actuators.end() || pitch->u_setting <= 0.0) return;
  const double step_deg = std::max(pitch->u_setting, 0.25);
  const PitchSensitivity sensitivity = pitch_sensitivity(input, curve, step_deg);
  const std::string name = fmt::format("pitch_deg:setting#{}", curve.label);
  curve.maximum_cp.add(
      name, {.u = sensitivity.relative_cp_per_deg * pitch->u_setting * curve.maximum_cp.value(),
             .dof = infinity});
  if (curve.optimum_tip_speed_ratio) {
    curve.optimum_tip_speed_ratio->add(
        name,
        {.u = sensitivity.optimum_tip_speed_ratio_per_deg * pitch->u_setting, .dof = infinity});
  }
}

void find_maximum(const TheoryInput& input, Curve& curve, Remarks& remarks) {
  const bool electrical = std::any_of(curve.points.begin(), curve.points.end(),
                                      [](const auto& point) { return point.cp_electrical; });
  curve.stage = electrical ? "electrical" : "shaft";
  const Curve* const alone[] = {&curve};
  if (const auto fitted = fitted_alike(alone)) {
    take_peak(fitted->front(), curve);
    if (curve.fit.size() == 3) {
      remarks.sentences.insert(fmt::format(
          "{}: a parabola through few points. It is symmetric, which rotors' curves are not: the "
          "optimum may be off by more than stated.",
          curve.label));
    }
  } else {
    const auto points = points_to_fit(curve);
    const bool few = points.size() < static_cast<std::size_t>(fewest_points_to_fit);
    take_largest_point(points,
                       few ? "fewer than five points, too few to fit"
                           : "the maximum does not lie inside the measured tip-speed ratios",
                       curve, remarks);
  }
  if (std::isfinite(curve.maximum_cp.value()) && !curve.maximum_cp.contributions().empty()) {
    add_pitch_setting(input, curve);
  }
}

}  // namespace

std::vector<Curve> curves_of(std::vector<PointResult> points, const ReductionInput& input,
                             const std::optional<Section>& section, Remarks& remarks) {
  std::vector<Curve> curves = grouped(std::move(points));
  label(curves);
  const TheoryInput theory{.reduction = input, .section = section};
  for (Curve& curve : curves) {
    find_maximum(theory, curve, remarks);
    if (input.with_theory) add_theory(theory, curve);
  }
  return curves;
}

}  // namespace windwright::analysis
