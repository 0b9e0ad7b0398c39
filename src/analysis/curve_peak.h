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

/// One curve's fit, its maximum and optimum with what the points' uncertainties make of them, to
/// first order (PeakFit), and the inputs that the fit adds: `lack-of-fit#LABEL` and
/// `degree-of-fit-N`.
struct FittedCurve {
  FitPoints points;
  PeakFit fit;
  metrology::Estimate maximum_cp;
  metrology::Estimate optimum_tip_speed_ratio;
};

/// Curves by polynomials of one degree: one curve alone, or those that are to be compared, so that
/// what the degree does to all alike drops out of their differences. The degree is the one with the
/// smallest sum of AICc; the maxima must lie inside the points there. The other degrees that have
/// them inside enter as common inputs `degree-of-fit-N`, each by its weight exp(-AICc / 2). The
/// points' scatter beyond the stated one counts where the chi-squared of all curves together
/// exceeds its 95 % point; without stated scatter it is each curve's own.
/// docs/theory/reduction.md.
/// @return  (curves); nothing where points are too few, or a maximum is not inside
std::optional<std::vector<FittedCurve>> fitted_alike(std::span<const Curve* const> curves);

}  // namespace windwright::analysis
