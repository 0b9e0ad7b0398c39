// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_strength.h"

#include "base/errors.h"
#include "physics/blade_section.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

Rotor lifting_rotor() {
  std::vector<PolarRow> rows;
  for (int i = -15; i <= 15; ++i)
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = i * degree,
                    .cl = 0.4 + 0.09 * i,
                    .cd = 0.02 + 1e-4 * i * i});
  const auto polar = std::make_shared<const Polar>(rows);
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = 4.0 * degree,
          .stations = {{0.05, 0.05, 25.0 * degree, polar}, {0.3, 0.03, 0.0, polar}}};
}

constexpr RotorFlow flow{.air_speed_m_s = 10.0,
                         .rotor_speed_rad_s = 150.0,
                         .density_kg_m3 = 1.2,
                         .dynamic_viscosity_Pa_s = 1.8e-5};

const Blade blade{.density_kg_m3 = 1250.0,
                  .allowable_stress_Pa = 2e7,
                  .section = {.kind = SectionShape::Kind::naca4, .thickness = 0.12}};

const LoadEnvelope envelope{.highest_air_speed_m_s = 14.0,
                            .pitches_rad = {0.0, 4.0 * degree},
                            .blades = 2,
                            .density_kg_m3 = 1.2,
                            .dynamic_viscosity_Pa_s = 1.8e-5};

// From the rotor's own span, by trapezoids, turned into the root section's axes by hand.
TEST(BladeStrength, TheRootCarriesTheMomentsOfTheRotorsOwnLoads) {
  const Rotor rotor = lifting_rotor();
  const RotorSpan span = rotor_span(rotor, flow, {.elements = 400});
  double downwind_N_m = 0.0;
  double turning_N_m = 0.0;
  for (std::size_t i = 1; i < span.elements.size(); ++i) {
    const ElementLoad& a = span.elements[i - 1];
    const ElementLoad& b = span.elements[i];
    const double width_m = b.radius_m - a.radius_m;
    const double arm_m = 0.5 * (a.radius_m + b.radius_m) - rotor.hub_radius_m;
    downwind_N_m += 0.5 * (a.normal_load_N_m1 + b.normal_load_N_m1) * width_m * arm_m;
    turning_N_m += 0.5 * (a.tangential_load_N_m1 + b.tangential_load_N_m1) * width_m * arm_m;
  }
  const double angle = 29.0 * degree;  // root twist and pitch
  const SectionLoad root = blade_loads(rotor, blade, flow).root;
  EXPECT_GT(downwind_N_m, 0.1);
  EXPECT_NEAR(root.flapwise_moment_N_m,
              downwind_N_m * std::cos(angle) + turning_N_m * std::sin(angle), 0.01 * downwind_N_m);
  EXPECT_NEAR(root.edgewise_moment_N_m,
              turning_N_m * std::cos(angle) - downwind_N_m * std::sin(angle), 0.01 * downwind_N_m);
}

// The stress stated is that of the forces and moments stated, the weight added whichever way is
// worse.
TEST(BladeStrength, TheStressIsThatOfTheStatedMoments) {
  const SectionLoad root = blade_loads(lifting_rotor(), blade, flow).root;
  const SectionOutline outline = section_outline(blade.section, 0.05, 21);
  double largest_Pa = 0.0;
  for (const double weight_N_m : {root.weight_moment_N_m, -root.weight_moment_N_m}) {
    const SectionStress stress =
        section_stress(outline, 0.05,
                       {.tension_N = root.centrifugal_force_N,
                        .aft_moment_N_m = -root.edgewise_moment_N_m + weight_N_m,
                        .suction_moment_N_m = root.flapwise_moment_N_m});
    largest_Pa = std::max(largest_Pa, stress.largest_Pa);
  }
  EXPECT_GT(std::abs(root.edgewise_moment_N_m), root.weight_moment_N_m);  // so that it counts
  EXPECT_NEAR(root.stress_Pa / largest_Pa, 1.0, 1e-12);
}

// A rectangle turned in its axes, which then have a product of inertia, must bend as the same one
// upright under the moment turned back.
TEST(BladeStrength, BendingDoesNotDependOnTheAxesItIsWorkedOutIn) {
  const double turn = 30.0 * degree;
  const auto rectangle = [](double angle) {
    SectionOutline outline;
    const auto at = [angle](double x, double y) {
      return SectionPoint{x * std::cos(angle) - y * std::sin(angle),
                          x * std::sin(angle) + y * std::cos(angle)};
    };
    for (const double x : {-0.5, 0.0, 0.5}) {
      outline.upper.push_back(at(x, x == -0.5 ? 0.0 : 0.1));
      outline.lower.push_back(at(x, x == -0.5 ? 0.0 : -0.1));
    }
    return outline;
  };
  const SectionStress upright = section_stress(
      rectangle(0.0), 0.04, {.tension_N = 5.0, .aft_moment_N_m = 0.1, .suction_moment_N_m = 0.2});
  const SectionStress turned =
      section_stress(rectangle(turn), 0.04,
                     {.tension_N = 5.0,
                      .aft_moment_N_m = 0.1 * std::cos(turn) - 0.2 * std::sin(turn),
                      .suction_moment_N_m = 0.1 * std::sin(turn) + 0.2 * std::cos(turn)});
  EXPECT_NEAR(turned.tension_Pa / upright.tension_Pa, 1.0, 1e-12);
  EXPECT_NEAR(turned.bending_Pa / upright.bending_Pa, 1.0, 1e-12);
  EXPECT_NEAR(turned.largest_Pa / upright.largest_Pa, 1.0, 1e-12);
}

// The safe speed is safe in every case of the envelope, and a little more is not in one.
TEST(BladeStrength, TheSafeSpeedIsTheLastSafeOne) {
  const SafeSpeed safe = safe_rotor_speed(lifting_rotor(), blade, envelope);
  ASSERT_GT(safe.rotor_speed_rad_s, 50.0);
  const auto worst_Pa = [&](double rotor_speed_rad_s) {
    double worst = 0.0;
    Rotor rotor = lifting_rotor();
    rotor.blades = envelope.blades;
    for (const double pitch_rad : envelope.pitches_rad) {
      rotor.pitch_rad = pitch_rad;
      for (int i = 0; i <= 8; ++i) {
        RotorFlow here = flow;
        here.air_speed_m_s = 14.0 * i / 8.0;
        here.rotor_speed_rad_s = rotor_speed_rad_s;
        worst = std::max(worst, blade_loads(rotor, blade, here).worst.stress_Pa);
      }
    }
    return worst;
  };
  for (const double part : {0.0, 0.3, 0.6, 0.9, 1.0})
    EXPECT_LE(worst_Pa(part * safe.rotor_speed_rad_s), 2e7) << part;
  EXPECT_GT(worst_Pa(1.001 * safe.rotor_speed_rad_s), 2e7);
}

TEST(BladeStrength, WeakerHeavierAndFasterAirAllLowerTheSafeSpeed) {
  const Rotor rotor = lifting_rotor();
  const double speed_rad_s = safe_rotor_speed(rotor, blade, envelope).rotor_speed_rad_s;
  Blade other = blade;
  other.allowable_stress_Pa *= 0.9;
  EXPECT_LT(safe_rotor_speed(rotor, other, envelope).rotor_speed_rad_s, speed_rad_s);
  other = blade;
  other.density_kg_m3 *= 1.5;
  EXPECT_LT(safe_rotor_speed(rotor, other, envelope).rotor_speed_rad_s, speed_rad_s);
  LoadEnvelope faster = envelope;
  faster.highest_air_speed_m_s = 18.0;
  EXPECT_LT(safe_rotor_speed(rotor, blade, faster).rotor_speed_rad_s, speed_rad_s);
}

TEST(BladeStrength, ATipSpeedLimitOrAThinStubMayBindFirst) {
  Blade other = blade;
  other.highest_tip_speed_m_s = 15.0;
  const SafeSpeed slow = safe_rotor_speed(lifting_rotor(), other, envelope);
  EXPECT_EQ(slow.bound, SpeedBound::tip_speed);
  EXPECT_NEAR(slow.rotor_speed_rad_s, 50.0, 1e-9);
  other = blade;
  other.root_diameter_m = 0.004;
  EXPECT_LT(safe_rotor_speed(lifting_rotor(), other, envelope).rotor_speed_rad_s,
            safe_rotor_speed(lifting_rotor(), blade, envelope).rotor_speed_rad_s);
}

TEST(BladeStrength, NoLimitReachesBeyondWhatTheTheoryAssesses) {
  Blade strong = blade;
  strong.allowable_stress_Pa = 1e12;
  const SafeSpeed safe = safe_rotor_speed(lifting_rotor(), strong, envelope);
  EXPECT_EQ(safe.bound, SpeedBound::tip_speed);
  EXPECT_NEAR(safe.rotor_speed_rad_s * lifting_rotor().tip_radius_m, 150.0, 1e-9);
}

TEST(BladeStrength, TheWallsOfASectionLoadTheBladesMore) {
  const Rotor rotor = lifting_rotor();
  const double open_rad_s = safe_rotor_speed(rotor, blade, envelope).rotor_speed_rad_s;
  LoadEnvelope wide = envelope;
  wide.section_area_m2 = 1e6 * swept_area_m2(rotor);
  EXPECT_NEAR(safe_rotor_speed(rotor, blade, wide).rotor_speed_rad_s / open_rad_s, 1.0, 1e-4);
  LoadEnvelope narrow = envelope;
  narrow.section_area_m2 = 5.0 * swept_area_m2(rotor);
  EXPECT_LT(safe_rotor_speed(rotor, blade, narrow).rotor_speed_rad_s, 0.99 * open_rad_s);
}

TEST(BladeStrength, ABladeTheWindAloneBreaksHasNoSafeSpeed) {
  Blade other = blade;
  other.allowable_stress_Pa = 1e4;
  const SafeSpeed none = safe_rotor_speed(lifting_rotor(), other, envelope);
  EXPECT_EQ(none.rotor_speed_rad_s, 0.0);
  EXPECT_GT(none.worst.stress_Pa, 1e4);
}

TEST(BladeStrength, RefusesMaterialsThatCannotBe) {
  Blade other = blade;
  other.density_kg_m3 = 0.0;
  try {
    blade_loads(lifting_rotor(), other, flow);
    FAIL() << "accepted";
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()), "blade: the material's density in kg/m3 is 0: above 0");
  }
}

}  // namespace
}  // namespace windwright::physics
