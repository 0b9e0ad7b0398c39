// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"
#include "metrology/estimate.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {

/// How the turbine holds its power, which says what another air density would have changed.
enum class Regulation {
  passive,  // stall, furling, or none: the power is normalised, P rho_0 / rho
  active    // pitch to a rated power: the air speed is normalised, V (rho / rho_0)^(1/3)
};

/// Standard uncertainties that are the same error in every point (category B) and stand in no
/// column of the file.
struct StatedUncertainty {
  double air_speed_m_s = 0.0;
  double air_speed_relative = 0.0;
  double power_W = 0.0;
  double power_relative = 0.0;
  double density_relative = 0.0;
};

struct PowerCurveOptions {
  std::string power;  // column, e.g. ac_power_W
  Regulation regulation = Regulation::passive;
  double reference_density_kg_m3 = 1.225;              // sea level
  double bin_width_m_s = 0.5;                          // bins are centred on its multiples
  std::optional<double> swept_area_m2 = std::nullopt;  // for cp
  StatedUncertainty stated = {};
  /// What makes a bin, and the whole, complete. Small turbines: averages of a minute, 10 minutes a
  /// bin, 60 hours (IEC 61400-12-1, annex H, from memory); large ones 600 s, 1800 s, 180 h.
  double averaging_s = 60.0;
  double least_per_bin_s = 600.0;
  double least_total_s = 216000.0;
};

/// Where the category A uncertainty of a bin comes from.
enum class ScatterBasis {
  rows,        // the scatter of its own rows, two or more
  neighbours,  // a single row: the pooled scatter of the nearest bins that have their own
  stated,      // a single row, no such bin near: what the row states as random
  unknown
};

struct PowerBin {
  double centre_m_s;
  double air_speed_m_s;  // mean, normalised where the speed is
  metrology::Estimate
      power_W;  // mean, normalised; inputs: `scatter of bin ...#bins`, what is systematic
  std::optional<metrology::Estimate> cp;  // at air_speed_m_s; with a swept area
  std::size_t count;
  double u_a_W;  // scatter of the points over the root of their number; NaN: nobody can say
  ScatterBasis u_a_basis;
  double u_b_W;   // systematic: sensors, air speed through the curve's slope; NaN: not stated
  double u_c_W;   // both; NaN where one of them is
  bool complete;  // least_per_bin_s or more
};

/// A row, normalised: what the bins were made of.
struct NormalisedRow {
  double air_speed_m_s;
  double power_W;
};

struct PowerCurve {
  PowerCurveOptions options;
  std::vector<NormalisedRow> rows;  // calm ones too
  std::vector<PowerBin> bins;       // air speed rising; with points in them
  std::vector<double> empty_m_s;    // centres between the first and the last bin without any point
  std::vector<double> thin_m_s;     // centres with too few
  double total_s;
  bool complete;  // no bin empty or thin, and long enough in all
  std::vector<std::string> remarks;
};

/// Power performance by the method of bins. The systematic part of a bin's power is that of its
/// points less the slope of the curve times that of their air speed, input by input; the slope is
/// that from the bin before (forward for the first). A bin of a single row takes the scatter of a
/// row from the nearest bin on each side that has two rows or more, no farther than three bins off,
/// pooled by degrees of freedom.
/// Source: IEC 61400-12-1:2017, 8.3, 9.1, 9.2 and annex D (method from memory); pooling: ISO
/// 5725-2:1994, 7.4.5 (the same estimate of a common variance), common practice for single rows.
/// docs/power_curve.md.
/// @throws BadInput  no points, or a point without the power; an option outside its domain; fewer
///                   than two bins
PowerCurve power_curve(const std::vector<Point>& points, const PowerCurveOptions& options);

/// Half-width of the 95 % interval of a bin's power, by Student's t with the degrees of freedom
/// that power_W has; of category A alone where B is not stated. NaN where A is open.
double expanded_W(const PowerBin& bin);

/// Which uncertainties all bins have, and so their sum too.
enum class KnownCategories { none, a, a_and_b };
KnownCategories known_categories(const PowerCurve& curve);

/// The column that is taken as the power where none is named: the last stage of the chain that the
/// points have, of ac_power_W, dc_power_W and shaft_power_W.
/// @throws BadInput  none of them
std::string power_column(const std::vector<Point>& points);

/// `bins`, `normalisation` and `completeness` of `reduce --bins`.
boost::json::object to_json(const PowerCurve& curve);

}  // namespace windwright::analysis
