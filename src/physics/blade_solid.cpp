// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_solid.h"

#include "base/errors.h"
#include "physics/blade_section.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

using base::BadInput;
using Ring = std::vector<BladePoint>;

// Ring order: leading edge, lower side outward to the trailing edge, upper side back. With n points
// a side: 0 .. n-1 the lower side, n .. 2n-2 the upper side from its trailing edge.
Ring ring_of(const SectionOutline& outline, double chord_m, const SectionPoint& axis,
             double twist_rad, double radius_m) {
  Ring ring;
  const double cosine = std::cos(twist_rad);
  const double sine = std::sin(twist_rad);
  const auto put = [&](const SectionPoint& point) {
    const double ahead_m = (axis.x - point.x) * chord_m;
    const double above_m = (point.y - axis.y) * chord_m;
    ring.push_back(
        {ahead_m * cosine + above_m * sine, -ahead_m * sine + above_m * cosine, radius_m});
  };
  for (const SectionPoint& point : outline.lower)
    put(point);
  for (std::size_t i = outline.upper.size() - 1; i > 0; --i)
    put(outline.upper[i]);
  return ring;
}

// As many points as a section's ring, the first ahead at the twist of the first section, so that
// the blend does not wind.
Ring circle(const RootStub& stub, double twist_rad, double radius_m, int points_per_side) {
  const int count = 2 * points_per_side - 1;
  Ring ring;
  for (int i = 0; i < count; ++i) {
    const double turn = 2.0 * std::numbers::pi * i / count;
    const double ahead_m = 0.5 * stub.diameter_m * std::cos(turn);
    const double above_m = -0.5 * stub.diameter_m * std::sin(turn);
    ring.push_back({ahead_m * std::cos(twist_rad) + above_m * std::sin(twist_rad),
                    -ahead_m * std::sin(twist_rad) + above_m * std::cos(twist_rad), radius_m});
  }
  return ring;
}

SectionPoint axis_of(const SectionOutline& outline, const SolidOptions& options) {
  if (options.pitch_axis) return {*options.pitch_axis, 0.0};
  return section_properties(outline, 1.0).centroid;
}

void add_stub(std::vector<Ring>& rings, const Rotor& rotor, const RootStub& stub, const Ring& first,
              const SolidOptions& options) {
  const double inner_m = rotor.hub_radius_m - stub.blend_m - stub.length_m;
  if (!(stub.diameter_m > 0.0 && stub.length_m > 0.0 && stub.blend_m > 0.0 && inner_m >= 0.0)) {
    throw BadInput("root stub",
                   fmt::format("diameter {} m, length {} m, blend {} m do not fit inside the hub "
                               "radius of {} m",
                               stub.diameter_m, stub.length_m, stub.blend_m, rotor.hub_radius_m),
                   "all above 0, length and blend together at most the hub radius");
  }
  const double twist_rad = rotor.stations.front().twist_rad;
  const double outer_m = inner_m + stub.length_m;
  const Ring round = circle(stub, twist_rad, outer_m, options.points_per_side);
  rings.push_back(circle(stub, twist_rad, inner_m, options.points_per_side));
  rings.push_back(round);
  const int steps = std::max(2, static_cast<int>(std::ceil(stub.blend_m / options.longest_step_m)));
  for (int step = 1; step < steps; ++step) {
    const double part = static_cast<double>(step) / steps;
    const double smooth = part * part * (3.0 - 2.0 * part);  // level at both ends
    Ring ring;
    for (std::size_t i = 0; i < round.size(); ++i)
      ring.push_back({round[i].x_m + smooth * (first[i].x_m - round[i].x_m),
                      round[i].y_m + smooth * (first[i].y_m - round[i].y_m),
                      outer_m + part * stub.blend_m});
    rings.push_back(std::move(ring));
  }
}

std::vector<Ring> rings_of(const Rotor& rotor, const SectionShape& shape,
                           const SolidOptions& options) {
  std::vector<Ring> rings;
  const Ring first = section_ring(rotor.stations.front(), shape, options);
  if (options.stub) add_stub(rings, rotor, *options.stub, first, options);
  rings.push_back(first);
  for (std::size_t i = 1; i < rotor.stations.size(); ++i) {
    const RotorStation& a = rotor.stations[i - 1];
    const RotorStation& b = rotor.stations[i];
    const int steps = std::max(
        1, static_cast<int>(std::ceil((b.radius_m - a.radius_m) / options.longest_step_m - 1e-9)));
    for (int step = 1; step <= steps; ++step) {
      const double part = static_cast<double>(step) / steps;
      rings.push_back(section_ring({.radius_m = a.radius_m + part * (b.radius_m - a.radius_m),
                                    .chord_m = a.chord_m + part * (b.chord_m - a.chord_m),
                                    .twist_rad = a.twist_rad + part * (b.twist_rad - a.twist_rad),
                                    .polar = nullptr},
                                   shape, options));
    }
  }
  return rings;
}

// A flat end, between points that face each other. `outward` as seen from inboard of it.
void add_cap(BladeSolid& solid, std::size_t start, std::size_t points_per_side, bool tip) {
  const auto add = [&](std::size_t a, std::size_t b, std::size_t c) {
    if (tip) std::swap(b, c);
    solid.triangles.push_back({start + a, start + b, start + c});
  };
  const std::size_t count = 2 * points_per_side - 1;
  const auto upper = [&](std::size_t i) { return i == 0 ? 0 : count - i; };
  add(0, 1, upper(1));
  for (std::size_t i = 1; i + 1 < points_per_side; ++i) {
    add(i, i + 1, upper(i + 1));
    add(i, upper(i + 1), upper(i));
  }
}

}  // namespace

std::vector<BladePoint> section_ring(const RotorStation& station, const SectionShape& shape,
                                     const SolidOptions& options) {
  const SectionOutline outline = section_outline(shape, station.chord_m, options.points_per_side);
  Ring ring = ring_of(outline, station.chord_m, axis_of(outline, options), station.twist_rad,
                      station.radius_m);
  if (!options.clockwise) {
    for (BladePoint& point : ring)
      point.x_m = -point.x_m;
  }
  return ring;
}

BladeSolid blade_solid(const Rotor& rotor, const SectionShape& shape, const SolidOptions& options) {
  if (!(options.longest_step_m > 0.0)) {
    throw BadInput("solid", fmt::format("the step is {} m", options.longest_step_m), "above 0");
  }
  // Built clockwise and mirrored as a whole, so that the triangles turn over once.
  SolidOptions upright = options;
  upright.clockwise = true;
  const std::vector<Ring> rings = rings_of(rotor, shape, upright);
  const std::size_t count = rings.front().size();
  BladeSolid solid;
  for (const Ring& ring : rings) {
    for (const BladePoint& point : ring)
      solid.points.push_back({options.clockwise ? point.x_m : -point.x_m, point.y_m, point.z_m});
  }
  const auto sides = static_cast<std::size_t>(options.points_per_side);
  add_cap(solid, 0, sides, false);
  for (std::size_t ring = 0; ring + 1 < rings.size(); ++ring) {
    const std::size_t inner = ring * count;
    const std::size_t outer = inner + count;
    for (std::size_t i = 0; i < count; ++i) {
      const std::size_t next = (i + 1) % count;
      solid.triangles.push_back({inner + i, outer + i, outer + next});
      solid.triangles.push_back({inner + i, outer + next, inner + next});
    }
  }
  add_cap(solid, (rings.size() - 1) * count, sides, true);
  if (!options.clockwise) {
    for (auto& triangle : solid.triangles)
      std::swap(triangle[1], triangle[2]);
  }
  return solid;
}

SolidMeasure solid_measure(const BladeSolid& solid) {
  double volume = 0.0;
  BladePoint moment{0.0, 0.0, 0.0};
  for (const auto& triangle : solid.triangles) {
    const BladePoint& a = solid.points[triangle[0]];
    const BladePoint& b = solid.points[triangle[1]];
    const BladePoint& c = solid.points[triangle[2]];
    const double six = a.x_m * (b.y_m * c.z_m - b.z_m * c.y_m) -
                       a.y_m * (b.x_m * c.z_m - b.z_m * c.x_m) +
                       a.z_m * (b.x_m * c.y_m - b.y_m * c.x_m);
    volume += six / 6.0;
    moment.x_m += six / 24.0 * (a.x_m + b.x_m + c.x_m);
    moment.y_m += six / 24.0 * (a.y_m + b.y_m + c.y_m);
    moment.z_m += six / 24.0 * (a.z_m + b.z_m + c.z_m);
  }
  return {volume, {moment.x_m / volume, moment.y_m / volume, moment.z_m / volume}};
}

}  // namespace windwright::physics
