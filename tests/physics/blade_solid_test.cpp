// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_solid.h"

#include "base/errors.h"
#include "physics/blade_section.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <map>
#include <numbers>
#include <utility>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

Rotor twisted_blade() {
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = 0.1,
          .stations = {{0.05, 0.06, 30.0 * degree, nullptr},
                       {0.12, 0.05, 12.0 * degree, nullptr},
                       {0.3, 0.02, 1.0 * degree, nullptr}}};
}

const SectionShape aerofoil{
    .kind = SectionShape::Kind::naca4, .camber = 0.04, .camber_position = 0.4, .thickness = 0.12};

const SectionShape sheet{.kind = SectionShape::Kind::plate, .camber = 0.06, .thickness_m = 0.0015};

// Every directed edge once, and once the other way round: closed, and turned outward alike.
void expect_watertight(const BladeSolid& solid) {
  std::map<std::pair<std::size_t, std::size_t>, int> edges;
  for (const auto& triangle : solid.triangles) {
    for (std::size_t i = 0; i < 3; ++i)
      ++edges[{triangle[i], triangle[(i + 1) % 3]}];
  }
  std::size_t bad = 0;
  for (const auto& [edge, count] : edges) {
    const auto back = edges.find({edge.second, edge.first});
    if (count != 1 || back == edges.end() || back->second != 1) ++bad;
  }
  EXPECT_EQ(bad, 0U) << "of " << edges.size();
  // Euler's formula for a body without holes: points - edges + triangles = 2.
  EXPECT_EQ(solid.points.size() + solid.triangles.size() - edges.size() / 2, 2U);
}

TEST(BladeSolid, IsWatertightAndTurnedOutward) {
  for (const SectionShape& shape : {aerofoil, sheet}) {
    for (const bool clockwise : {true, false}) {
      for (const bool stub : {true, false}) {
        SolidOptions options{.clockwise = clockwise};
        if (stub) options.stub = RootStub{.diameter_m = 0.01, .length_m = 0.02, .blend_m = 0.015};
        const BladeSolid solid = blade_solid(twisted_blade(), shape, options);
        expect_watertight(solid);
        EXPECT_GT(solid_measure(solid).volume_m3, 0.0);
      }
    }
  }
}

// The integral of the section areas, chord linear between stations: (c0^2 + c0 c1 + c1^2)/3 times
// the length for a section that scales, by hand. Twist does not change it.
TEST(BladeSolid, HoldsTheIntegralOfItsSectionAreas) {
  const BladeSolid solid = blade_solid(twisted_blade(), aerofoil);
  const double unit = section_properties(section_outline(aerofoil, 1.0, 61), 1.0).area_m2;
  const auto piece = [](double a, double b, double length) {
    return (a * a + a * b + b * b) / 3.0 * length;
  };
  const double want = unit * (piece(0.06, 0.05, 0.07) + piece(0.05, 0.02, 0.18));
  const SolidMeasure measure = solid_measure(solid);
  EXPECT_NEAR(measure.volume_m3 / want, 1.0, 5e-4);
  // Integral of z c(z)^2 over both pieces: Simpson is exact for cubics.
  const auto lever = [](double z0, double z1, double a, double b) {
    const double z = 0.5 * (z0 + z1);
    const double c = 0.5 * (a + b);
    return (z1 - z0) / 6.0 * (z0 * a * a + 4.0 * z * c * c + z1 * b * b);
  };
  const double first = unit * (lever(0.05, 0.12, 0.06, 0.05) + lever(0.12, 0.3, 0.05, 0.02));
  EXPECT_NEAR(measure.centroid.z_m / (first / want), 1.0, 5e-4);
  // Stacked on the centroids: the body's own lies on the pitch axis.
  EXPECT_NEAR(measure.centroid.x_m, 0.0, 2e-5);
  EXPECT_NEAR(measure.centroid.y_m, 0.0, 2e-5);
}

// The known area of the four-digit thickness form: 0.6851 t c^2, from its polynomial by hand.
TEST(BladeSolid, TheFourDigitFormHasItsArea) {
  const SectionShape shape{.kind = SectionShape::Kind::naca4, .thickness = 0.12};
  const auto section = section_properties(section_outline(shape, 2.0, 400), 2.0);
  EXPECT_NEAR(section.area_m2 / (0.68508 * 0.12 * 4.0), 1.0, 1e-4);
}

// Seen with the blade upright, wind towards +y, turning towards +x: the leading edge is ahead in
// the turning direction, and turned into the wind by the twist; suction faces downwind.
TEST(BladeSolid, LeadsWithItsLeadingEdge) {
  const RotorStation station{0.1, 0.05, 20.0 * degree, nullptr};
  const auto ring = section_ring(station, aerofoil, {.points_per_side = 11, .pitch_axis = 0.25});
  ASSERT_EQ(ring.size(), 21U);
  EXPECT_NEAR(ring[0].x_m, 0.25 * 0.05 * std::cos(20.0 * degree), 1e-12);
  EXPECT_NEAR(ring[0].y_m, -0.25 * 0.05 * std::sin(20.0 * degree), 1e-12);
  EXPECT_GT(ring[15].y_m, ring[5].y_m);  // upper side downwind of the lower one
  const auto mirrored = section_ring(
      station, aerofoil, {.points_per_side = 11, .pitch_axis = 0.25, .clockwise = false});
  EXPECT_EQ(mirrored[0].x_m, -ring[0].x_m);
  EXPECT_EQ(mirrored[0].y_m, ring[0].y_m);
}

TEST(BladeSolid, TheTrailingEdgeIsNeverThinnerThanAsked) {
  SectionShape shape = aerofoil;
  shape.trailing_edge_m = 0.0008;
  const SectionOutline outline = section_outline(shape, 0.02);
  const double gap_m = 0.02 * (outline.upper.back().y - outline.lower.back().y);
  EXPECT_NEAR(gap_m, 0.0008, 2e-5);
  const SectionOutline thick = section_outline(sheet, 0.02);
  EXPECT_NEAR(0.02 * std::hypot(thick.upper.back().x - thick.lower.back().x,
                                thick.upper.back().y - thick.lower.back().y),
              0.0015, 1e-12);
}

TEST(BladeSolid, RefusesAStubLongerThanTheHub) {
  try {
    blade_solid(twisted_blade(), aerofoil,
                {.stub = RootStub{.diameter_m = 0.01, .length_m = 0.04, .blend_m = 0.02}});
    FAIL() << "accepted";
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("do not fit inside the hub radius"), std::string::npos)
        << error.what();
  }
}

TEST(Section, RefusesSidesThatCross) {
  const SectionOutline crossed{.upper = {{0.0, 0.0}, {0.5, 0.05}, {0.8, -0.1}, {1.0, 0.0}},
                               .lower = {{0.0, 0.0}, {0.5, -0.05}, {0.8, -0.05}, {1.0, 0.0}}};
  EXPECT_THROW(resampled(crossed, 21), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
