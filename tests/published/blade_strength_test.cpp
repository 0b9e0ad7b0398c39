// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_strength.h"

#include "physics/blade_section.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

double height_at(const std::vector<SectionPoint>& side, double x) {
  std::size_t i = 1;
  while (i + 1 < side.size() && side[i].x < x)
    ++i;
  const double part = (x - side[i - 1].x) / (side[i].x - side[i - 1].x);
  return side[i - 1].y + part * (side[i].y - side[i - 1].y);
}

// I. H. Abbott, A. E. von Doenhoff, Theory of Wing Sections (Dover 1959), appendix III, ordinates
// of the NACA 0012 basic thickness form and of the NACA 4412 section, in per cent of the chord;
// from memory. Half a unit of the last printed digit.
TEST(PublishedSection, Naca0012HasTheTabledOrdinates) {
  const SectionOutline outline = section_outline(
      {.kind = SectionShape::Kind::naca4, .camber = 0.0, .thickness = 0.12}, 1.0, 1000);
  struct Row {
    double x;
    double y;
  };
  for (const Row& row :
       {Row{1.25, 1.894}, Row{2.5, 2.615}, Row{5.0, 3.555}, Row{7.5, 4.200}, Row{10.0, 4.683},
        Row{15.0, 5.345}, Row{20.0, 5.737}, Row{25.0, 5.941}, Row{30.0, 6.002}, Row{40.0, 5.803},
        Row{50.0, 5.294}, Row{60.0, 4.563}, Row{70.0, 3.664}, Row{80.0, 2.623}, Row{90.0, 1.448},
        Row{95.0, 0.807}, Row{100.0, 0.126}}) {
    EXPECT_NEAR(100.0 * height_at(outline.upper, row.x / 100.0), row.y, 6e-4) << row.x;
    EXPECT_NEAR(100.0 * height_at(outline.lower, row.x / 100.0), -row.y, 6e-4) << row.x;
  }
}

// The two decimals of this old table were worked out by hand and are not exact to the last one: one
// and a half units of it.
TEST(PublishedSection, Naca4412HasTheTabledOrdinates) {
  const SectionOutline outline = section_outline({.kind = SectionShape::Kind::naca4,
                                                  .camber = 0.04,
                                                  .camber_position = 0.4,
                                                  .thickness = 0.12},
                                                 1.0, 1000);
  struct Row {
    double x;
    double upper;
    double lower;
  };
  for (const Row& row : {Row{1.25, 2.44, -1.43}, Row{2.5, 3.39, -1.95}, Row{5.0, 4.73, -2.49},
                         Row{10.0, 6.59, -2.86}, Row{20.0, 8.80, -2.74}, Row{30.0, 9.76, -2.26},
                         Row{40.0, 9.80, -1.80}, Row{50.0, 9.19, -1.40}, Row{60.0, 8.14, -1.00},
                         Row{70.0, 6.69, -0.65}, Row{80.0, 4.89, -0.39}, Row{90.0, 2.71, -0.22}}) {
    EXPECT_NEAR(100.0 * height_at(outline.upper, row.x / 100.0), row.upper, 0.015) << row.x;
    EXPECT_NEAR(100.0 * height_at(outline.lower, row.x / 100.0), row.lower, 0.015) << row.x;
  }
}

// Rectangle b h: area b h, second moments b h^3 / 12 and h b^3 / 12, and cantilever stress M/W with
// W = b h^2 / 6 (common practice; Young, Budynas, Roark's Formulas for Stress and Strain, 7th ed.
// 2002, table A.1, from memory). Drawn as a contour of five points a side.
TEST(PublishedSection, ARectangleHasTheHandbooksMoments) {
  const SectionOutline outline{.upper = {{0.0, 0.0}, {0.0, 0.05}, {0.5, 0.05}, {1.0, 0.05}},
                               .lower = {{0.0, 0.0}, {0.0, -0.05}, {0.5, -0.05}, {1.0, -0.05}}};
  const double b = 0.04;  // chord in m
  const double h = 0.1 * b;
  const SectionProperties section = section_properties(outline, b);
  EXPECT_NEAR(section.area_m2, b * h, 1e-15);
  EXPECT_NEAR(section.yy / (b * h * h * h / 12.0), 1.0, 1e-12);
  EXPECT_NEAR(section.xx / (h * b * b * b / 12.0), 1.0, 1e-12);
  EXPECT_NEAR(section.xy, 0.0, 1e-20);
  const SectionStress flap = section_stress(
      outline, b, {.tension_N = 0.0, .aft_moment_N_m = 0.0, .suction_moment_N_m = 0.3});
  EXPECT_NEAR(flap.bending_Pa / (0.3 / (b * h * h / 6.0)), 1.0, 1e-12);
  const SectionStress edge = section_stress(
      outline, b, {.tension_N = 8.0, .aft_moment_N_m = 0.3, .suction_moment_N_m = 0.0});
  EXPECT_NEAR(edge.largest_Pa / (0.3 / (h * b * b / 6.0) + 8.0 / (b * h)), 1.0, 1e-12);
}

// A right triangle of base b and height h has the product of inertia -b^2 h^2 / 72 about its
// centroid and b h^3 / 36 about an axis along the base (Young, Budynas, table A.1, from memory).
TEST(PublishedSection, ARightTriangleHasTheHandbooksProductOfInertia) {
  const SectionOutline outline{.upper = {{0.0, 0.0}, {0.0, 0.25}, {0.0, 0.5}},
                               .lower = {{0.0, 0.0}, {0.5, 0.0}, {1.0, 0.0}}};
  const SectionProperties section = section_properties(outline, 1.0);
  EXPECT_NEAR(section.area_m2, 0.25, 1e-15);
  EXPECT_NEAR(section.centroid.x, 1.0 / 3.0, 1e-12);
  EXPECT_NEAR(section.centroid.y, 1.0 / 6.0, 1e-12);
  EXPECT_NEAR(section.yy, 0.125 / 36.0, 1e-12);
  EXPECT_NEAR(section.xx, 0.5 / 36.0, 1e-12);
  EXPECT_NEAR(section.xy, -0.25 / 72.0, 1e-12);
}

// A blade of a section without lift or drag: only the pull is left.
Rotor bar(double root_chord_m, double tip_chord_m) {
  const auto polar = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = -pi, .cl = 0.0, .cd = 0.0},
                            {.reynolds = 1e5, .alpha_rad = pi, .cl = 0.0, .cd = 0.0}});
  return {.blades = 2,
          .hub_radius_m = 0.1,
          .tip_radius_m = 0.5,
          .pitch_rad = 0.0,
          .stations = {{0.1, root_chord_m, 0.0, polar}, {0.5, tip_chord_m, 0.0, polar}}};
}

constexpr RotorFlow turning{.air_speed_m_s = 0.0,
                            .rotor_speed_rad_s = 200.0,
                            .density_kg_m3 = 1.2,
                            .dynamic_viscosity_Pa_s = 1.8e-5};

// B. J. Goodno, J. M. Gere, Mechanics of Materials, 9th ed. (Cengage 2018), problem 1.4-16: a bar
// of one section that turns has the stress rho omega^2 (L^2 - x^2) / 2, whatever its section.
TEST(PublishedBladeStrength, AUniformTurningBarHasTheTextbooksStress) {
  const Blade blade{.density_kg_m3 = 1250.0,
                    .allowable_stress_Pa = 1e7,
                    .section = {.kind = SectionShape::Kind::naca4, .thickness = 0.12}};
  const BladeLoads loads = blade_loads(bar(0.05, 0.05), blade, turning);
  for (const SectionLoad& section : loads.sections) {
    const double want_Pa =
        1250.0 * 200.0 * 200.0 * (0.25 - section.radius_m * section.radius_m) / 2.0;
    EXPECT_NEAR(section.centrifugal_stress_Pa / want_Pa, 1.0, 1e-9) << section.radius_m;
  }
  EXPECT_NEAR(loads.root.radius_m, 0.1, 1e-12);
  EXPECT_NEAR(loads.tip_speed_m_s, 100.0, 1e-12);
}

// The same by integration for a sheet whose width falls in a straight line to a third: with c = c0
// (1 - k s), s from the root r0, the pull is rho t omega^2 c0 times the integral of (1 - k s)(r0 +
// s) ds = r0 L + L^2/2 - k (r0 L^2/2 + L^3/3). Worked by hand: k = 1/0.6, L = 0.4, r0 = 0.1: 0.04 +
// 0.08 - (0.008 + 0.021333)/0.6 = 0.0711111 m2.
TEST(PublishedBladeStrength, ATaperedTurningSheetHasTheIntegratedPull) {
  const Blade blade{.density_kg_m3 = 1250.0,
                    .allowable_stress_Pa = 1e7,
                    .section = {.kind = SectionShape::Kind::plate, .thickness_m = 0.001}};
  const BladeLoads loads = blade_loads(bar(0.06, 0.02), blade, turning);
  const double want_N = 1250.0 * 0.001 * 200.0 * 200.0 * 0.06 * 0.0711111;
  // The rounded nose and 48 steps for the integral leave a little.
  EXPECT_NEAR(loads.root.centrifugal_force_N / want_N, 1.0, 0.01);
  EXPECT_NEAR(loads.blade_mass_kg / (1250.0 * 0.001 * 0.04 * 0.4), 1.0, 0.01);
}

// Only the pull limits a bar without air loads: rho omega^2 (R^2 - r0^2)/2 = allowable, from the
// source above; less the weight's part, 0.25 MPa of 100 MPa here.
TEST(PublishedBladeStrength, TheSafeSpeedOfABarFollowsFromItsPull) {
  const Blade blade{.density_kg_m3 = 1250.0,
                    .allowable_stress_Pa = 1e8,
                    .section = {.kind = SectionShape::Kind::naca4, .thickness = 0.12},
                    .highest_tip_speed_m_s = 1e4};  // the pull alone is asked for
  const LoadEnvelope envelope{.highest_air_speed_m_s = 12.0,
                              .pitches_rad = {0.0},
                              .blades = 2,
                              .density_kg_m3 = 1.2,
                              .dynamic_viscosity_Pa_s = 1.8e-5};
  const SafeSpeed safe = safe_rotor_speed(bar(0.05, 0.05), blade, envelope);
  const double want_rad_s = std::sqrt(2.0 * 1e8 / (1250.0 * (0.25 - 0.01)));
  EXPECT_NEAR(safe.rotor_speed_rad_s / want_rad_s, 1.0, 5e-3);
  EXPECT_LT(safe.rotor_speed_rad_s, want_rad_s);
  EXPECT_EQ(safe.bound, SpeedBound::stress);
}

// A cantilever under a load q per length over its whole length L has the moment q L^2 / 2 at its
// root (common practice; Young, Budynas, table 8.1, from memory). A plate across the wind at
// standstill: q = 1/2 rho V^2 c cd.
TEST(PublishedBladeStrength, TheWindAgainstAStoppedBladeBendsItAsACantilever) {
  const auto polar = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = -pi, .cl = 0.0, .cd = 1.5},
                            {.reynolds = 1e5, .alpha_rad = pi, .cl = 0.0, .cd = 1.5}});
  Rotor rotor = bar(0.03, 0.03);
  for (RotorStation& station : rotor.stations)
    station.polar = polar;
  rotor.blades = 1;
  const Blade blade{.density_kg_m3 = 1250.0,
                    .allowable_stress_Pa = 1e7,
                    .section = {.kind = SectionShape::Kind::plate, .thickness_m = 0.002}};
  const RotorFlow flow{.air_speed_m_s = 10.0,
                       .rotor_speed_rad_s = 0.0,
                       .density_kg_m3 = 1.2,
                       .dynamic_viscosity_Pa_s = 1.8e-5};
  const BladeLoads loads = blade_loads(rotor, blade, flow);
  // What the rotor's own induction leaves of the load is the rotor's business: taken from its span.
  const RotorSpan span = rotor_span(rotor, flow);
  double mean_N_m1 = span.total.thrust_N / 0.4;
  EXPECT_NEAR(loads.root.flapwise_moment_N_m / (mean_N_m1 * 0.4 * 0.4 / 2.0), 1.0, 0.02);
  EXPECT_NEAR(mean_N_m1 / (0.5 * 1.2 * 100.0 * 0.03 * 1.5), 1.0, 0.06);
  EXPECT_EQ(loads.root.centrifugal_force_N, 0.0);
}

}  // namespace
}  // namespace windwright::physics
