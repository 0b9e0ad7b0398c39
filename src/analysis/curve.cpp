// SPDX-License-Identifier: Apache-2.0
#include "analysis/curve.h"

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

bool is_electrical(const Curve& curve) {
  return curve.stage == "electrical";
}

const std::optional<Estimate>& cp_of(const Curve& curve, const PointResult& point) {
  return is_electrical(curve) ? point.cp_electrical : point.cp_shaft;
}

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

// The points that the fit uses: settled, with a cp of the fitted stage, and near the maximum.
std::vector<const PointResult*> points_to_fit(const Curve& curve) {
  std::vector<const PointResult*> usable;
  for (const PointResult& point : curve.points) {
    if (point.settled && cp_of(curve, point)) usable.push_back(&point);
  }
  if (usable.empty()) return usable;
  const auto cp = [&](const PointResult* point) { return cp_of(curve, *point)->value(); };
  const PointResult* best = *std::max_element(usable.begin(), usable.end(),
                                              [&](auto* a, auto* b) { return cp(a) < cp(b); });
  // A polynomial of low degree describes the top of the curve, not its feet. Six points at least,
  // the nearest ones to the best.
  constexpr double part_of_largest = 0.6;
  constexpr std::size_t fewest = 6;
  const double largest = cp(best);
  const double place = best->tip_speed_ratio.value();
  std::vector<double> distances;
  for (const PointResult* point : usable)
    distances.push_back(std::abs(point->tip_speed_ratio.value() - place));
  std::sort(distances.begin(), distances.end());
  const double reach = distances[std::min(fewest, distances.size()) - 1];
  std::erase_if(usable, [&](const PointResult* point) {
    return cp(point) < part_of_largest * largest &&
           std::abs(point->tip_speed_ratio.value() - place) > reach;
  });
  return usable;
}

// To first order; see PeakFit.
Estimate carried(double value, const std::vector<const PointResult*>& points, const Curve& curve,
                 const PeakFit& fit, const std::vector<double>& weights) {
  Estimate sum;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Estimate shift = *cp_of(curve, *points[i]) - fit.slopes[i] * points[i]->tip_speed_ratio;
    sum = sum + weights[i] * shift;
  }
  return {value, sum.contributions()};
}

struct Peak {
  PeakFit fit;
  std::vector<double> variance;  // (points) random, of the distance from the fit
  bool stated;                   // false: variance is one for all and only relative
};

std::optional<Peak> fitted_peak(const std::vector<const PointResult*>& points, const Curve& curve) {
  std::vector<double> x;
  std::vector<double> y;
  std::vector<double> variance;
  bool stated = true;
  for (const PointResult* point : points) {
    x.push_back(point->tip_speed_ratio.value());
    y.push_back(cp_of(curve, *point)->value());
    variance.push_back(std::pow(cp_of(curve, *point)->u_random(), 2));
    stated = stated && variance.back() > 0.0;
  }
  if (!stated) std::fill(variance.begin(), variance.end(), 1.0);
  auto fit = fit_peak(x, y, variance);
  // The tip-speed ratio scatters too, together with cp (both hang on the air speed): once the slope
  // is known, the variance is that of the distance from the curve.
  for (int pass = 0; pass < 2 && fit && stated; ++pass) {
    for (std::size_t i = 0; i < points.size(); ++i) {
      const Estimate distance =
          *cp_of(curve, *points[i]) - fit->slopes[i] * points[i]->tip_speed_ratio;
      variance[i] = std::pow(distance.u_random(), 2);
    }
    fit = fit_peak(x, y, variance);
  }
  if (!fit) return std::nullopt;
  return Peak{.fit = *std::move(fit), .variance = std::move(variance), .stated = stated};
}

// What the points scatter more than stated, or all of their scatter where nothing is stated.
double extra_variance(const Peak& peak) {
  const double per_degree = peak.fit.chi_squared / peak.fit.degrees_of_freedom;
  return peak.stated ? std::max(per_degree - 1.0, 0.0) : per_degree;
}

double weighed(const Peak& peak, const std::vector<double>& weights) {
  double sum = 0.0;
  for (std::size_t i = 0; i < weights.size(); ++i)
    sum += weights[i] * weights[i] * peak.variance[i];
  return std::sqrt(extra_variance(peak) * sum);
}

void take_peak(const Peak& peak, const std::vector<const PointResult*>& points, Curve& curve) {
  const PeakFit& fit = peak.fit;
  Estimate maximum = carried(fit.maximum, points, curve, fit, fit.maximum_weights);
  Estimate optimum = carried(fit.optimum, points, curve, fit, fit.optimum_weights);
  const double dof = fit.degrees_of_freedom;
  const auto add = [&](Estimate& estimate, const char* input, double u, double input_dof) {
    if (u > 0.0) estimate.add(fmt::format("{}#{}", input, curve.label), {.u = u, .dof = input_dof});
  };
  add(maximum, "lack-of-fit", weighed(peak, fit.maximum_weights), dof);
  add(optimum, "lack-of-fit", weighed(peak, fit.optimum_weights), dof);
  add(maximum, "degree-of-fit", fit.u_degree_maximum, infinity);
  add(optimum, "degree-of-fit", fit.u_degree_optimum, infinity);
  double scatter = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    double value = 0.0;
    for (std::size_t k = fit.coefficients.size(); k-- > 0;)
      value = value * points[i]->tip_speed_ratio.value() + fit.coefficients[k];
    scatter += std::pow(cp_of(curve, *points[i])->value() - value, 2);
  }
  curve.fit_u_scatter = std::sqrt(scatter / dof);
  curve.optimum_tip_speed_ratio = std::move(optimum);
  curve.maximum_cp = std::move(maximum);
  curve.fit = fit.coefficients;
  curve.fit_range[0] = points.front()->tip_speed_ratio.value();
  curve.fit_range[1] = points.back()->tip_speed_ratio.value();
  curve.maximum_basis = fmt::format("maximum of a polynomial of degree {} through {} points",
                                    fit.coefficients.size() - 1, points.size());
}

void take_largest_point(const std::vector<const PointResult*>& points, const char* why,
                        Curve& curve, Remarks& remarks) {
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
  const double u = relative_pitch_sensitivity_per_deg(input, curve, step_deg) * pitch->u_setting *
                   curve.maximum_cp.value();
  curve.maximum_cp.add(fmt::format("pitch_deg:setting#{}", curve.label), {.u = u, .dof = infinity});
}

void find_maximum(const TheoryInput& input, Curve& curve, Remarks& remarks) {
  const bool electrical = std::any_of(curve.points.begin(), curve.points.end(),
                                      [](const auto& point) { return point.cp_electrical; });
  curve.stage = electrical ? "electrical" : "shaft";
  const auto points = points_to_fit(curve);
  if (const auto peak = fitted_peak(points, curve)) {
    take_peak(*peak, points, curve);
  } else {
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
    add_theory(theory, curve);
  }
  return curves;
}

}  // namespace windwright::analysis
