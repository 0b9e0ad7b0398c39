// SPDX-License-Identifier: Apache-2.0
#include "analysis/curve_peak.h"

#include "analysis/peak_fit.h"
#include "analysis/results.h"
#include "metrology/estimate.h"
#include "metrology/student.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace windwright::analysis {

using metrology::Estimate;

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

bool is_electrical(const Curve& curve) {
  return curve.stage == "electrical";
}

// The points of one curve as numbers.
struct Samples {
  FitPoints points;
  std::vector<double> x;
  std::vector<double> y;
  std::vector<double> variance;
  bool stated = true;
};

Samples samples_of(const FitPoints& points, const Curve& curve) {
  Samples samples;
  samples.points = points;
  for (const PointResult* point : points) {
    samples.x.push_back(point->tip_speed_ratio.value());
    samples.y.push_back(cp_of(curve, *point)->value());
    samples.variance.push_back(std::pow(cp_of(curve, *point)->u_random(), 2));
    samples.stated = samples.stated && samples.variance.back() > 0.0;
  }
  if (!samples.stated) std::fill(samples.variance.begin(), samples.variance.end(), 1.0);
  return samples;
}

// The tip-speed ratio scatters too, together with cp (both hang on the air speed): once the slope
// is known, the variance is that of the distance from the curve.
void take_slopes(const PeakFit& fit, const Curve& curve, Samples& samples) {
  for (std::size_t i = 0; samples.stated && i < samples.points.size(); ++i) {
    const Estimate distance =
        *cp_of(curve, *samples.points[i]) - fit.slopes[i] * samples.points[i]->tip_speed_ratio;
    samples.variance[i] = std::pow(distance.u_random(), 2);
  }
}

constexpr int passes = 2;  // of taking the slopes

// All curves by one degree.
struct Together {
  int degree;
  double aicc;  // sum
  bool inside;  // all maxima
  std::vector<PeakFit> fits;
};

std::vector<Together> degrees_from(const std::vector<Samples>& samples, int lowest, int highest) {
  std::vector<Together> degrees;
  for (int degree = lowest; degree <= highest; ++degree) {
    Together together{.degree = degree, .aicc = 0.0, .inside = true, .fits = {}};
    for (const Samples& each : samples) {
      auto fit = fit_peak(each.x, each.y, each.variance, degree);
      if (!fit) break;
      together.aicc += fit->aicc;
      together.inside = together.inside && fit->inside;
      together.fits.push_back(*std::move(fit));
    }
    if (together.fits.size() == samples.size()) degrees.push_back(std::move(together));
  }
  return degrees;
}

// A parabola is symmetric, rotors' curves lean: where it fits as well as the points can tell, its
// optimum is still off by more than its interval says. So it stands in for the cubic only where
// that cannot be fitted.
std::vector<Together> all_degrees(const std::vector<Samples>& samples) {
  std::vector<Together> degrees = degrees_from(samples, 3, 4);
  return degrees.empty() ? degrees_from(samples, 2, 2) : degrees;
}

// Nothing where there is none, or where its maxima are not all inside.
const Together* best_of(const std::vector<Together>& degrees) {
  const auto best = std::min_element(degrees.begin(), degrees.end(),
                                     [](const auto& a, const auto& b) { return a.aicc < b.aicc; });
  return best == degrees.end() || !best->inside ? nullptr : &*best;
}

// What all curves together scatter more than stated; 0 where chance explains it.
double common_extra(const std::vector<Samples>& samples, const Together& best) {
  double chi_squared = 0.0;
  double dof = 0.0;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    if (!samples[i].stated) continue;
    chi_squared += best.fits[i].chi_squared;
    dof += best.fits[i].degrees_of_freedom;
  }
  constexpr double level = 0.95;
  if (dof == 0.0 || chi_squared <= metrology::chi_squared_quantile(level, dof)) return 0.0;
  return chi_squared / dof - 1.0;
}

void add_degrees(const std::vector<Together>& degrees, const Together& best, std::size_t curve,
                 FittedCurve& result) {
  double sum = 0.0;
  for (const Together& each : degrees)
    sum += each.inside ? std::exp(0.5 * (best.aicc - each.aicc)) : 0.0;
  for (const Together& each : degrees) {
    if (!each.inside) continue;
    const double root_weight = std::sqrt(std::exp(0.5 * (best.aicc - each.aicc)) / sum);
    const auto add = [&](Estimate& estimate, double change) {
      if (change == 0.0) return;
      estimate.add(fmt::format("degree-of-fit-{}", each.degree),
                   {.u = root_weight * change, .dof = infinity});
    };
    add(result.maximum_cp, each.fits[curve].maximum - best.fits[curve].maximum);
    add(result.optimum_tip_speed_ratio, each.fits[curve].optimum - best.fits[curve].optimum);
  }
}

// The fit's maximum or optimum with what the points' uncertainties make of it.
Estimate carried(double value, const Samples& samples, const Curve& curve, const PeakFit& fit,
                 const std::vector<double>& weights) {
  Estimate sum;
  for (std::size_t i = 0; i < samples.points.size(); ++i) {
    const PointResult& point = *samples.points[i];
    sum = sum + weights[i] * (*cp_of(curve, point) - fit.slopes[i] * point.tip_speed_ratio);
  }
  return {value, sum.contributions()};
}

// Standard uncertainty from `extra`, a part of each point's variance that is not stated.
double weighed(const Samples& samples, const std::vector<double>& weights, double extra) {
  double sum = 0.0;
  for (std::size_t i = 0; i < weights.size(); ++i)
    sum += weights[i] * weights[i] * samples.variance[i];
  return std::sqrt(extra * sum);
}

}  // namespace

const std::optional<Estimate>& cp_of(const Curve& curve, const PointResult& point) {
  return is_electrical(curve) ? point.cp_electrical : point.cp_shaft;
}

FitPoints points_to_fit(const Curve& curve) {
  FitPoints usable;
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

std::optional<std::vector<FittedCurve>> fitted_alike(std::span<const Curve* const> curves) {
  std::vector<Samples> samples;
  for (const Curve* curve : curves)
    samples.push_back(samples_of(points_to_fit(*curve), *curve));
  std::vector<Together> degrees = all_degrees(samples);
  const Together* best = best_of(degrees);
  for (int pass = 0; pass < passes && best != nullptr; ++pass) {
    for (std::size_t i = 0; i < samples.size(); ++i)
      take_slopes(best->fits[i], *curves[i], samples[i]);
    degrees = all_degrees(samples);
    best = best_of(degrees);
  }
  if (best == nullptr) return std::nullopt;
  const double extra = common_extra(samples, *best);
  std::vector<FittedCurve> fitted;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const Samples& each = samples[i];
    const PeakFit& fit = best->fits[i];
    FittedCurve result{
        .points = each.points,
        .fit = fit,
        .maximum_cp = carried(fit.maximum, each, *curves[i], fit, fit.maximum_weights),
        .optimum_tip_speed_ratio =
            carried(fit.optimum, each, *curves[i], fit, fit.optimum_weights)};
    const double own = each.stated ? extra : fit.chi_squared / fit.degrees_of_freedom;
    const auto add = [&](Estimate& estimate, const std::vector<double>& weights) {
      const double u = weighed(each, weights, own);
      if (u == 0.0) return;
      estimate.add(fmt::format("lack-of-fit#{}", curves[i]->label),
                   {.u = u, .dof = static_cast<double>(fit.degrees_of_freedom)});
    };
    add(result.maximum_cp, fit.maximum_weights);
    add(result.optimum_tip_speed_ratio, fit.optimum_weights);
    add_degrees(degrees, *best, i, result);
    fitted.push_back(std::move(result));
  }
  return fitted;
}

}  // namespace windwright::analysis
