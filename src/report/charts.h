// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "metrology/estimate.h"
#include "report/drawing.h"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace windwright::report {

/// How one curve is drawn everywhere in a report: told apart by colour (Okabe and Ito, Color
/// Universal Design, 2008), by shape and by dash, so that grey print and colour-blind eyes do.
struct CurveLook {
  std::string colour;
  std::string dash;
  Shape shape;
};
CurveLook look_of_curve(std::size_t curve);

/// The power coefficient that a curve was fitted to, at one of its points.
std::optional<metrology::Estimate> fitted_cp(const analysis::Curve& curve,
                                             const analysis::PointResult& point);

/// Index of the curve with the largest maximum; none without curves.
std::optional<std::size_t> best_curve(const analysis::Results& results);
/// The test point of a curve with the largest fitted cp; null without points.
const analysis::PointResult* best_point(const analysis::Curve& curve);

/// Range of both axes that all pictures of power coefficients in one report share.
struct CpRange {
  double low_ratio;
  double high_ratio;
  double low_cp;
  double high_cp;
};
CpRange cp_range(const analysis::Results& results);

/// All curves: points with expanded uncertainties (95 %), fits, theory thin behind, optima.
std::string cp_chart(const analysis::Results& results);

/// Each curve alone over its theory, above what the fit leaves (measured minus fit, with twice the
/// random standard uncertainty): one drawing a row of up to three.
std::vector<std::string> curve_panels(const analysis::Results& results);

/// Differences between levels against zero; significant ones filled, the others open.
std::string difference_chart(const analysis::Verdict& verdict);

/// A test point's powers as a river from wind to load, each loss peeling off.
std::string energy_chain_chart(const analysis::PointResult& point);

/// A share of a whole as a bar, for a table's cell.
std::string share_bar(double share_pct);
/// A curve's line and marker, for a table's cell.
std::string curve_key(std::size_t curve);

}  // namespace windwright::report
