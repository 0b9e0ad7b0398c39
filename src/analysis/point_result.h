// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"
#include "analysis/remarks.h"
#include "analysis/results.h"
#include "metrology/estimate.h"

namespace windwright::analysis {

/// Reduces one point: density, wind power, tip-speed ratio, powers, coefficients and stages, each
/// with its uncertainty by input. The curve's theory is left for the curve to fill.
/// @param remarks  receives what a reader must know about it
PointResult point_result(const Point& point, const ReductionInput& input, Remarks& remarks);

/// Air density of a point: as given, or from temperature, pressure and humidity.
metrology::Estimate air_density_kg_m3(const Point& point);

/// Relative standard uncertainty of the density equation itself.
/// Source: A. Picard, R. S. Davis, M. Glaeser, K. Fujii, Revised formula for the density of moist
/// air (CIPM-2007), Metrologia 45 (2008) 149-155, section 3.
inline constexpr double u_density_equation_relative = 22e-6;

}  // namespace windwright::analysis
