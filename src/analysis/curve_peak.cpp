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
  std::vector<PeakFit> fits;
};

std::vector<Together> all_degrees(const std::vector<Samples>& samples) {
  std::vector<Together> degrees;
  for (int degree = lowest_degree; degree <= highest_degree; ++degree) {
    Together together{.degree = degree, .aicc = 0.0, .fits = {}};
    for (const Samples& each : samples) {
      if (auto fit = fit_peak(each.x, each.y, each.variance, degree)) {
        together.aicc += fit->aicc;
        together.fits.push_back(*std::move(fit));
      }
    }
    if (together.fits.size() == samples.size()) degrees.push_back(std::move(together));
  }
  return degrees;
}

const Together& best_of(const std::vector<Together>& degrees) {
  return *std::min_element(degrees.begin(), degrees.end(),
                           [](const auto& a, const auto& b) { return a.aicc < b.aicc; });
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

void add_degrees(const std::vector<Together>& degrees, std::size_t curve, MaximumOfCurve& result) {
  const Together& best = best_of(degrees);
  double sum = 0.0;
  for (const Together& each : degrees)
    sum += std::exp(0.5 * (best.aicc - each.aicc));
  for (const Together& each : degrees) {
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

Estimate carried(double value, const FitPoints& points, const Curve& curve, const PeakFit& fit,
                 const std::vector<double>& weights) {
  Estimate sum;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Estimate shift = *cp_of(curve, *points[i]) - fit.slopes[i] * points[i]->tip_speed_ratio;
    sum = sum + weights[i] * shift;
  }
  return {value, sum.contributions()};
}

std::optional<Peak> fitted_peak(const FitPoints& points, const Curve& curve) {
  Samples samples = samples_of(points, curve);
  auto fit = fit_peak(samples.x, samples.y, samples.variance);
  for (int pass = 0; pass < passes && fit && samples.stated; ++pass) {
    take_slopes(*fit, curve, samples);
    fit = fit_peak(samples.x, samples.y, samples.variance);
  }
  if (!fit) return std::nullopt;
  return Peak{
      .fit = *std::move(fit), .variance = std::move(samples.variance), .stated = samples.stated};
}

double weighed(const Peak& peak, const std::vector<double>& weights, double extra) {
  double sum = 0.0;
  for (std::size_t i = 0; i < weights.size(); ++i)
    sum += weights[i] * weights[i] * peak.variance[i];
  return std::sqrt(extra * sum);
}

std::optional<std::vector<MaximumOfCurve>> maxima_together(std::span<const Curve* const> curves) {
  std::vector<Samples> samples;
  for (const Curve* curve : curves)
    samples.push_back(samples_of(points_to_fit(*curve), *curve));
  std::vector<Together> degrees = all_degrees(samples);
  for (int pass = 0; pass < passes && !degrees.empty(); ++pass) {
    for (std::size_t i = 0; i < samples.size(); ++i)
      take_slopes(best_of(degrees).fits[i], *curves[i], samples[i]);
    degrees = all_degrees(samples);
  }
  if (degrees.empty()) return std::nullopt;
  const Together& best = best_of(degrees);
  const double extra = common_extra(samples, best);
  std::vector<MaximumOfCurve> maxima;
  for (std::size_t i = 0; i < samples.size(); ++i) {
    const PeakFit& fit = best.fits[i];
    MaximumOfCurve result{
        .maximum_cp = carried(fit.maximum, samples[i].points, *curves[i], fit, fit.maximum_weights),
        .optimum_tip_speed_ratio =
            carried(fit.optimum, samples[i].points, *curves[i], fit, fit.optimum_weights)};
    const Peak peak{.fit = fit, .variance = samples[i].variance, .stated = samples[i].stated};
    const double own = peak.stated ? extra : fit.chi_squared / fit.degrees_of_freedom;
    const auto add = [&](Estimate& estimate, const std::vector<double>& weights) {
      const double u = weighed(peak, weights, own);
      if (u == 0.0) return;
      estimate.add(fmt::format("lack-of-fit#{}", curves[i]->label),
                   {.u = u, .dof = static_cast<double>(fit.degrees_of_freedom)});
    };
    add(result.maximum_cp, fit.maximum_weights);
    add(result.optimum_tip_speed_ratio, fit.optimum_weights);
    add_degrees(degrees, i, result);
    maxima.push_back(std::move(result));
  }
  return maxima;
}

}  // namespace windwright::analysis
