// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"
#include "metrology/estimate.h"

#include <cmath>
#include <limits>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::analysis {

/// A curve that is known: cp = maximum - curvature (tip-speed ratio - optimum)^2.
struct KnownCurve {
  int blade_count = 3;
  double pitch_deg = 5.0;
  double maximum = 0.32;
  double optimum = 4.7;
  double curvature = 0.02;
  int points = 9;           // from 1.5 below the optimum to 1.5 above
  double u_gain = 0.01;     // relative, of the DC power, common to all points
  double u_speed = 0.005;   // relative, of the air speed, common to all points
  double u_random = 0.001;  // relative, of the DC power, each point its own
  double radius_m = 0.3;
};

/// Points without noise on that curve, at 9 m/s and 1.2 kg/m3, numbered from `first`.
inline std::vector<Point> points_on(const KnownCurve& known, int first = 1) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  constexpr double speed_m_s = 9.0;
  constexpr double density_kg_m3 = 1.2;
  std::vector<Point> points;
  for (int i = 0; i < known.points; ++i) {
    const double tip_speed_ratio = known.optimum - 1.5 + 3.0 * i / (known.points - 1);
    const double cp =
        known.maximum - known.curvature * std::pow(tip_speed_ratio - known.optimum, 2);
    const double power_W = cp * 0.5 * density_kg_m3 * std::numbers::pi * known.radius_m *
                           known.radius_m * std::pow(speed_m_s, 3);
    Point point;
    point.number = first + i;
    point.blade_count = known.blade_count;
    point.pitch_deg = known.pitch_deg;
    point.quantities.emplace(
        "air_speed_m_s", metrology::Estimate(speed_m_s, {{"air_speed_m_s:standard-relative",
                                                          {known.u_speed * speed_m_s, infinity}}}));
    point.quantities.emplace("rotor_speed_rad_s",
                             metrology::Estimate(tip_speed_ratio * speed_m_s / known.radius_m));
    point.quantities.emplace("air_density_kg_m3", metrology::Estimate(density_kg_m3));
    point.quantities.emplace(
        "dc_power_W",
        metrology::Estimate(
            power_W,
            {{"dc_voltage_V:standard-relative", {known.u_gain * power_W, infinity}},
             {"random-0#" + std::to_string(point.number), {known.u_random * power_W, 50.0}}}));
    points.push_back(std::move(point));
  }
  return points;
}

/// Leaning to the left, as measured curves do, so that no polynomial is the truth:
/// cp = maximum (x exp(1 - x))^2.8, x the tip-speed ratio over the optimum.
inline std::vector<Point> points_on_leaning(const KnownCurve& known) {
  auto points = points_on(known);
  for (Point& point : points) {
    const auto q = [&](const char* name) { return point.quantities.at(name).value(); };
    const double x = q("rotor_speed_rad_s") * known.radius_m / q("air_speed_m_s") / known.optimum;
    const double parabola =
        known.maximum - known.curvature * std::pow((x - 1.0) * known.optimum, 2);
    auto& power_W = point.quantities.at("dc_power_W");
    power_W = known.maximum * std::pow(x * std::exp(1.0 - x), 2.8) / parabola * power_W;
  }
  return points;
}

inline void append(std::vector<Point>& all, const std::vector<Point>& more) {
  all.insert(all.end(), more.begin(), more.end());
}

}  // namespace windwright::analysis
