// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_section.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string_view>
#include <vector>

namespace windwright::physics {

namespace {

using base::BadInput;

constexpr int fewest_points = 3;
constexpr int most_points = 1000;

struct MeanLine {
  double y;
  double slope;
};

MeanLine naca4_mean_line(const SectionShape& shape, double x) {
  const double m = shape.camber;
  const double p = shape.camber_position;
  if (m == 0.0) return {0.0, 0.0};
  const double part = x < p ? m / (p * p) : m / ((1.0 - p) * (1.0 - p));
  const double start = x < p ? 0.0 : 1.0 - 2.0 * p;
  return {part * (start + 2.0 * p * x - x * x), part * 2.0 * (p - x)};
}

double naca4_half_thickness(double thickness, double x) {
  return 5.0 * thickness *
         (0.2969 * std::sqrt(x) + x * (-0.1260 + x * (-0.3516 + x * (0.2843 - x * 0.1015))));
}

double plate_half_thickness(double thickness, double x) {
  const double radius = 0.5 * thickness;
  if (x >= radius) return radius;
  return std::sqrt(x * (2.0 * radius - x));
}

void require(bool good, std::string_view what, double value, std::string_view right) {
  if (!good) throw BadInput("section", fmt::format("{} is {}", what, value), right);
}

void check(const SectionShape& shape, double chord_m) {
  require(chord_m > 0.0 && std::isfinite(chord_m), "the chord", chord_m, "above 0 m");
  require(std::abs(shape.camber) < 0.3, "the camber", shape.camber, "below 0.3 of the chord");
  require(shape.trailing_edge_m >= 0.0 && shape.trailing_edge_m < 0.5 * chord_m,
          "the trailing edge's thickness in m", shape.trailing_edge_m,
          "not negative and below half the chord");
  if (shape.kind == SectionShape::Kind::naca4) {
    require(shape.thickness > 0.0 && shape.thickness <= 0.5, "the thickness", shape.thickness,
            "above 0 and at most half the chord");
    require(shape.camber_position > 0.0 && shape.camber_position < 1.0, "the place of the camber",
            shape.camber_position, "between 0 and 1");
  }
  if (shape.kind == SectionShape::Kind::plate) {
    require(shape.thickness_m > 0.0 && shape.thickness_m <= 0.5 * chord_m,
            "the plate's thickness in m", shape.thickness_m, "above 0 and at most half the chord");
  }
}

// Closer at both ends, where the contour bends.
double spaced(int index, int count) {
  return 0.5 - 0.5 * std::cos(std::numbers::pi * index / (count - 1));
}

SectionOutline drawn(const SectionShape& shape, double chord_m, int points) {
  SectionOutline outline;
  const double thickness = shape.thickness_m / chord_m;
  for (int i = 0; i < points; ++i) {
    const double x = spaced(i, points);
    const bool plate = shape.kind == SectionShape::Kind::plate;
    const MeanLine mean =
        plate ? MeanLine{4.0 * shape.camber * x * (1.0 - x), 4.0 * shape.camber * (1.0 - 2.0 * x)}
              : naca4_mean_line(shape, x);
    const double half = plate ? plate_half_thickness(thickness, x)
                              : std::max(0.0, naca4_half_thickness(shape.thickness, x));
    const double angle = std::atan(mean.slope);
    outline.upper.push_back({x - half * std::sin(angle), mean.y + half * std::cos(angle)});
    outline.lower.push_back({x + half * std::sin(angle), mean.y - half * std::cos(angle)});
  }
  return outline;
}

void open_trailing_edge(SectionOutline& outline, double thickness) {
  const SectionPoint& above = outline.upper.back();
  const SectionPoint& below = outline.lower.back();
  const double missing = thickness - std::hypot(above.x - below.x, above.y - below.y);
  if (missing <= 0.0) return;
  for (std::size_t i = 0; i < outline.upper.size(); ++i) {
    outline.upper[i].y += 0.5 * missing * std::max(0.0, outline.upper[i].x);
    outline.lower[i].y -= 0.5 * missing * std::max(0.0, outline.lower[i].x);
  }
}

double height_at(const std::vector<SectionPoint>& side, double x) {
  const auto after =
      std::upper_bound(side.begin() + 1, side.end() - 1, x,
                       [](double value, const SectionPoint& point) { return value < point.x; });
  const SectionPoint& b = *after;
  const SectionPoint& a = *(after - 1);
  return a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x);
}

void check_side(const std::vector<SectionPoint>& side, std::string_view name) {
  if (side.size() < static_cast<std::size_t>(fewest_points)) {
    throw BadInput("section", fmt::format("its {} side has {} points", name, side.size()),
                   fmt::format("at least {} a side", fewest_points));
  }
  for (std::size_t i = 1; i < side.size(); ++i) {
    if (!(side[i].x > side[i - 1].x)) {
      throw BadInput(
          "section",
          fmt::format("x goes from {} to {} on the {} side", side[i - 1].x, side[i].x, name),
          "x ascending from the leading to the trailing edge on each side");
    }
  }
}

// The contour once round: leading edge, lower side, trailing edge, upper side back.
std::vector<SectionPoint> polygon(const SectionOutline& outline, double chord_m) {
  std::vector<SectionPoint> points;
  points.reserve(2 * outline.upper.size());
  for (const SectionPoint& point : outline.lower)
    points.push_back({point.x * chord_m, point.y * chord_m});
  for (std::size_t i = outline.upper.size() - 1; i > 0; --i)
    points.push_back({outline.upper[i].x * chord_m, outline.upper[i].y * chord_m});
  return points;
}

}  // namespace

SectionOutline section_outline(const SectionShape& shape, double chord_m, int points_per_side) {
  require(points_per_side >= fewest_points && points_per_side <= most_points,
          "the number of points a side", points_per_side,
          fmt::format("{} to {}", fewest_points, most_points));
  check(shape, chord_m);
  SectionOutline outline = shape.kind == SectionShape::Kind::points
                               ? resampled(shape.outline, points_per_side)
                               : drawn(shape, chord_m, points_per_side);
  open_trailing_edge(outline, shape.trailing_edge_m / chord_m);
  return outline;
}

SectionOutline resampled(const SectionOutline& outline, int points_per_side) {
  check_side(outline.upper, "upper");
  check_side(outline.lower, "lower");
  SectionOutline result;
  const auto along = [](const std::vector<SectionPoint>& side, double part) {
    return side.front().x + part * (side.back().x - side.front().x);
  };
  for (int i = 0; i < points_per_side; ++i) {
    const double part = spaced(i, points_per_side);
    const double above = along(outline.upper, part);
    const double below = along(outline.lower, part);
    result.upper.push_back({above, height_at(outline.upper, above)});
    result.lower.push_back({below, height_at(outline.lower, below)});
    const bool inside = i > 0 && i + 1 < points_per_side;
    if (inside && !(result.upper.back().y > height_at(outline.lower, above))) {
      throw BadInput("section", fmt::format("its sides meet or cross at x = {:.4g}", above),
                     "the upper side above the lower one");
    }
  }
  return result;
}

SectionProperties section_properties(const SectionOutline& outline, double chord_m) {
  const std::vector<SectionPoint> points = polygon(outline, chord_m);
  double area = 0.0;
  SectionPoint first{0.0, 0.0};
  double xx = 0.0;
  double xy = 0.0;
  double yy = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const SectionPoint& a = points[i];
    const SectionPoint& b = points[(i + 1) % points.size()];
    const double cross = a.x * b.y - b.x * a.y;
    area += cross / 2.0;
    first.x += (a.x + b.x) * cross / 6.0;
    first.y += (a.y + b.y) * cross / 6.0;
    xx += (a.x * a.x + a.x * b.x + b.x * b.x) * cross / 12.0;
    yy += (a.y * a.y + a.y * b.y + b.y * b.y) * cross / 12.0;
    xy += (a.x * b.y + 2.0 * a.x * a.y + 2.0 * b.x * b.y + b.x * a.y) * cross / 24.0;
  }
  const SectionPoint centroid{first.x / area, first.y / area};
  return {.area_m2 = area,
          .centroid = {centroid.x / chord_m, centroid.y / chord_m},
          .xx = xx - area * centroid.x * centroid.x,
          .xy = xy - area * centroid.x * centroid.y,
          .yy = yy - area * centroid.y * centroid.y};
}

SectionStress section_stress(const SectionOutline& outline, double chord_m,
                             const SectionForces& forces) {
  const SectionProperties section = section_properties(outline, chord_m);
  const double determinant = section.xx * section.yy - section.xy * section.xy;
  const double along_x =
      (section.yy * forces.aft_moment_N_m - section.xy * forces.suction_moment_N_m) / determinant;
  const double along_y =
      (section.xx * forces.suction_moment_N_m - section.xy * forces.aft_moment_N_m) / determinant;
  SectionStress stress{forces.tension_N / section.area_m2, 0.0, 0.0};
  for (const auto* side : {&outline.upper, &outline.lower}) {
    for (const SectionPoint& point : *side) {
      const double bending_Pa = -along_x * (point.x - section.centroid.x) * chord_m -
                                along_y * (point.y - section.centroid.y) * chord_m;
      stress.bending_Pa = std::max(stress.bending_Pa, std::abs(bending_Pa));
      stress.largest_Pa = std::max(stress.largest_Pa, std::abs(stress.tension_Pa + bending_Pa));
    }
  }
  return stress;
}

}  // namespace windwright::physics
