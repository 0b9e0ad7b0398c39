// SPDX-License-Identifier: Apache-2.0
// Inside the analysis module: how the maximum of a curve is found, for one curve and for several
// alike.
#pragma once

#include "analysis/peak_fit.h"
#include "analysis/results.h"
#include "metrology/estimate.h"

#include <optional>
#include <span>
#include <vector>

namespace windwright::analysis {

using FitPoints = std::vector<const PointResult*>;

/// The cp of the stage that a curve is fitted in.
const std::optional<metrology::Estimate>& cp_of(const Curve& curve, const PointResult& point);

/// The points that the fit uses: settled, with a cp of the fitted stage, and near the maximum.
FitPoints points_to_fit(const Curve& curve);

struct Peak {
  PeakFit fit;
  std::vector<double> variance;  // (points) random, of the distance from the fit
  bool stated;                   // false: variance is one for all and only relative
};

/// Nothing where fit_peak has nothing.
std::optional<Peak> fitted_peak(const FitPoints& points, const Curve& curve);

/// The fit's maximum or optimum with what the points' uncertainties make of it, to first order: see
/// PeakFit.
/// @param weights  maximum_weights or optimum_weights of the fit
metrology::Estimate carried(double value, const FitPoints& points, const Curve& curve,
                            const PeakFit& fit, const std::vector<double>& weights);

/// Standard uncertainty from `extra`, a part of each point's variance that is not stated.
double weighed(const Peak& peak, const std::vector<double>& weights, double extra);

struct MaximumOfCurve {
  metrology::Estimate maximum_cp;
  metrology::Estimate optimum_tip_speed_ratio;
};

/// Maxima of curves of one setting, made to be compared: all by polynomials of one degree, the one
/// with the smallest sum of their AICc, so that what the degree does to all alike drops out of
/// differences. The other degrees enter as common inputs `degree-of-fit-N`, each by its weight. The
/// points' scatter beyond the stated one counts where the chi-squared of all curves together
/// exceeds its 95 % point; without stated scatter it is each curve's own.
/// @return  (curves); nothing where no degree gives all of them a maximum inside
std::optional<std::vector<MaximumOfCurve>> maxima_together(std::span<const Curve* const> curves);

}  // namespace windwright::analysis
