// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/errors.h"
#include "physics/polar.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

// Lift 0.1 a degree with a smooth stall, drag by the square of lift; better at higher Reynolds
// numbers.
std::shared_ptr<const Polar> smooth_polar() {
  std::vector<PolarRow> rows;
  for (const double reynolds : {2e4, 1e5, 5e5}) {
    for (int alpha_deg = -20; alpha_deg <= 30; ++alpha_deg) {
      const double cl = 1.2 * std::tanh(0.1 * (alpha_deg + 3.0) / 1.2);
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = cl,
                      .cd = 0.02 * std::sqrt(1e5 / reynolds) + 2e-4 * alpha_deg * alpha_deg});
    }
  }
  return std::make_shared<const Polar>(rows, 6.0);
}

Rotor bench_rotor() {
  const auto polar = smooth_polar();
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = 2.0 * degree,
          .stations = {{0.05, 0.06, 25.0 * degree, polar},
                       {0.15, 0.05, 8.0 * degree, polar},
                       {0.3, 0.03, 1.0 * degree, polar}}};
}

RotorFlow flow_at(double tip_speed_ratio, double air_speed_m_s = 8.0) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * air_speed_m_s / 0.3,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.8e-5};
}

TEST(Rotor, PowerIsTorqueTimesRotorSpeed) {
  for (const double ratio : {-1.0, 0.0, 2.0, 4.5, 9.0}) {
    const auto flow = flow_at(ratio);
    const auto load = rotor_load(bench_rotor(), flow);
    EXPECT_DOUBLE_EQ(load.power_W, load.torque_N_m * flow.rotor_speed_rad_s);
    EXPECT_NEAR(load.cp, load.cq * load.tip_speed_ratio, 1e-12);
    EXPECT_DOUBLE_EQ(load.tip_speed_ratio, ratio);
    const double push_N = 0.5 * 1.2 * pi * 0.09 * 64.0;
    EXPECT_DOUBLE_EQ(load.ct, load.thrust_N / push_N);
    EXPECT_DOUBLE_EQ(load.cq, load.torque_N_m / (push_N * 0.3));
  }
}

TEST(Rotor, ForcesGrowWithDensityAtTheSameReynoldsNumber) {
  auto flow = flow_at(4.0);
  const auto before = rotor_load(bench_rotor(), flow);
  flow.density_kg_m3 *= 1.7;
  flow.dynamic_viscosity_Pa_s *= 1.7;
  const auto after = rotor_load(bench_rotor(), flow);
  EXPECT_NEAR(after.torque_N_m / before.torque_N_m, 1.7, 1e-9);
  EXPECT_NEAR(after.thrust_N / before.thrust_N, 1.7, 1e-9);
  EXPECT_NEAR(after.cp, before.cp, 1e-9);
}

TEST(Rotor, ReachesAUsualPowerCoefficient) {
  double best = 0.0;
  for (int quarters = 4; quarters < 40; ++quarters) {
    best = std::max(best, rotor_load(bench_rotor(), flow_at(0.25 * quarters)).cp);
  }
  EXPECT_GT(best, 0.3);
  EXPECT_LT(best, 0.5);
}

TEST(Rotor, StandingStillFeelsATorqueAndTakesNoPower) {
  const auto load = rotor_load(bench_rotor(), flow_at(0.0));
  EXPECT_GT(load.torque_N_m, 0.0);
  EXPECT_GT(load.thrust_N, 0.0);
  EXPECT_EQ(load.power_W, 0.0);
  EXPECT_EQ(load.unconverged_elements, 0);
}

TEST(Rotor, PassesSmoothlyThroughStandstill) {
  const double before = rotor_load(bench_rotor(), flow_at(-1e-7)).torque_N_m;
  const double at = rotor_load(bench_rotor(), flow_at(0.0)).torque_N_m;
  const double after = rotor_load(bench_rotor(), flow_at(1e-7)).torque_N_m;
  EXPECT_NEAR(before, at, 1e-6 * std::abs(at));
  EXPECT_NEAR(after, at, 1e-6 * std::abs(at));
}

TEST(Rotor, InStillAirIsBrakedByItsDrag) {
  for (const double speed_rad_s : {-100.0, 1.0, 300.0}) {
    auto flow = flow_at(0.0, 0.0);
    flow.rotor_speed_rad_s = speed_rad_s;
    const auto load = rotor_load(bench_rotor(), flow);
    EXPECT_LT(load.power_W, 0.0) << speed_rad_s;
    EXPECT_EQ(load.cp, 0.0);
    EXPECT_EQ(load.ct, 0.0);
    EXPECT_EQ(load.tip_speed_ratio, 0.0);
    EXPECT_EQ(load.unconverged_elements, 0) << speed_rad_s;
  }
}

TEST(Rotor, InStillAirAtStandstillFeelsNothing) {
  const auto load = rotor_load(bench_rotor(), flow_at(0.0, 0.0));
  EXPECT_EQ(load.torque_N_m, 0.0);
  EXPECT_EQ(load.thrust_N, 0.0);
  EXPECT_EQ(load.unconverged_elements, 0);
}

// Tip-speed ratios from deep stall over run-away to heavy braking: no step of the thrust
// coefficient where Buhl's parabola, reversed flow or the stall begin.
TEST(Rotor, ThrustHasNoStepsOverTheTipSpeedRatio) {
  double before = rotor_load(bench_rotor(), flow_at(0.5)).ct;
  for (int hundredths = 51; hundredths < 2000; ++hundredths) {
    const double ratio = 0.01 * hundredths;
    const auto load = rotor_load(bench_rotor(), flow_at(ratio));
    ASSERT_LT(std::abs(load.ct - before), 0.02) << ratio;
    ASSERT_EQ(load.unconverged_elements, 0) << ratio;
    before = load.ct;
  }
}

TEST(Rotor, BrakesWithReversedFlowAtVeryHighTipSpeedRatio) {
  auto rotor = bench_rotor();
  rotor.pitch_rad = -2.0 * degree;
  const auto span = rotor_span(rotor, flow_at(20.0));
  bool reversed = false;
  for (const ElementLoad& element : span.elements)
    reversed = reversed || element.axial_induction > 1.0;
  EXPECT_TRUE(reversed);
  EXPECT_GT(span.total.ct, 1.5);
  EXPECT_LT(span.total.power_W, 0.0);
}

TEST(Rotor, FortyElementsAreGoodToAThousandth) {
  for (const double ratio : {2.0, 4.0, 6.0}) {
    const double coarse = rotor_load(bench_rotor(), flow_at(ratio)).cp;
    const double fine = rotor_load(bench_rotor(), flow_at(ratio), {.elements = 2000}).cp;
    EXPECT_NEAR(coarse, fine, 1e-3) << ratio;
  }
}

TEST(Rotor, EveryLossCostsPower) {
  const auto cp = [](Losses losses) {
    return rotor_load(bench_rotor(), flow_at(5.0), {.losses = losses}).cp;
  };
  EXPECT_LT(cp(Losses::tip), cp(Losses::none));
  EXPECT_LT(cp(Losses::root), cp(Losses::none));
  EXPECT_LT(cp(Losses::both), cp(Losses::tip));
  EXPECT_LT(cp(Losses::both), cp(Losses::root));
}

TEST(Rotor, SwirlCostsPower) {
  EXPECT_LT(rotor_load(bench_rotor(), flow_at(4.0)).cp,
            rotor_load(bench_rotor(), flow_at(4.0), {.wake_rotation = false}).cp);
}

TEST(Rotor, ElementsAddUpToTheWhole) {
  const auto flow = flow_at(4.5);
  const auto span = rotor_span(bench_rotor(), flow, {.elements = 60});
  ASSERT_EQ(span.elements.size(), 60U);
  double thrust_N = 0.0;
  double torque_N_m = 0.0;
  double edge_m = 0.05;
  for (const ElementLoad& element : span.elements) {
    EXPECT_TRUE(element.converged);
    const double width_m = 2.0 * (element.radius_m - edge_m);
    edge_m += width_m;
    thrust_N += 3.0 * element.normal_load_N_m1 * width_m;
    torque_N_m += 3.0 * element.tangential_load_N_m1 * element.radius_m * width_m;
    // The velocity triangle: V (1 - a) and omega r (1 + a').
    EXPECT_NEAR(element.relative_speed_m_s * std::sin(element.inflow_angle_rad),
                8.0 * (1.0 - element.axial_induction), 1e-9);
    EXPECT_NEAR(element.relative_speed_m_s * std::cos(element.inflow_angle_rad),
                flow.rotor_speed_rad_s * element.radius_m * (1.0 + element.tangential_induction),
                1e-9);
    EXPECT_NEAR(element.reynolds / (1.2 * element.relative_speed_m_s / 1.8e-5),
                element.radius_m < 0.15 ? 0.06 - 0.1 * (element.radius_m - 0.05)
                                        : 0.05 - 0.02 / 0.15 * (element.radius_m - 0.15),
                1e-12);
  }
  EXPECT_NEAR(edge_m, 0.3, 1e-12);
  EXPECT_NEAR(span.total.thrust_N, thrust_N, 1e-9);
  EXPECT_NEAR(span.total.torque_N_m, torque_N_m, 1e-9);
  EXPECT_EQ(rotor_load(bench_rotor(), flow, {.elements = 60}).thrust_N, span.total.thrust_N);
}

// An element's forces belong to the Reynolds number of its own relative flow.
TEST(Rotor, UsesTheReynoldsNumberOfTheLocalFlow) {
  const auto rotor = bench_rotor();
  const auto load = element_load(rotor, 0.2, flow_at(4.5), {.rotational_augmentation = false});
  const auto force = rotor.stations[1].polar->at(load.angle_of_attack_rad, load.reynolds);
  EXPECT_NEAR(load.cl, force.cl, 1e-10);
  EXPECT_NEAR(load.cd, force.cd, 1e-10);
}

TEST(Rotor, SaysHowMuchOfTheBladeIsOutsideThePolarsReynoldsNumbers) {
  const auto inside = rotor_load(bench_rotor(), flow_at(4.5));
  EXPECT_EQ(inside.span_below_reynolds, 0.0);
  EXPECT_EQ(inside.span_above_reynolds, 0.0);
  EXPECT_NEAR(rotor_load(bench_rotor(), flow_at(4.5, 0.5)).span_below_reynolds, 1.0, 1e-12);
  EXPECT_NEAR(rotor_load(bench_rotor(), flow_at(4.5, 300.0)).span_above_reynolds, 1.0, 1e-12);
}

TEST(Rotor, FindsABalanceWhereBladesCrowdTheHub) {
  auto rotor = bench_rotor();
  rotor.blades = 12;  // more blade than room at the hub, feathered, turning fast
  rotor.pitch_rad = 90.0 * degree;
  for (const double ratio : {-60.0, 0.1, 60.0}) {
    const auto load = rotor_load(rotor, flow_at(ratio));
    EXPECT_EQ(load.unconverged_elements, 0) << ratio;
    EXPECT_LT(load.largest_residual, 1e-11) << ratio;
    EXPECT_TRUE(std::isfinite(load.torque_N_m));
  }
}

// Rotation gives nothing back where nothing rotates, and less than the attached lift where it does.
// At standstill an element deep in its own swirl may still keep a little.
TEST(Rotor, AugmentationNeedsRotation) {
  const RotorOptions plain{.rotational_augmentation = false};
  const double still_N_m = rotor_load(bench_rotor(), flow_at(0.0), plain).torque_N_m;
  EXPECT_NEAR(rotor_load(bench_rotor(), flow_at(0.0)).torque_N_m, still_N_m, 1e-3 * still_N_m);
  const auto stalled = flow_at(2.0);
  EXPECT_GT(rotor_load(bench_rotor(), stalled).torque_N_m,
            1.01 * rotor_load(bench_rotor(), stalled, plain).torque_N_m);
}

// The wind's part along the axis is all that momentum theory can use: little yaw costs little, and
// power falls faster than the cosine, slower than its fourth power.
TEST(Rotor, YawCostsPowerWithTheCosineOfTheWind) {
  auto flow = flow_at(4.5);
  const double straight = rotor_load(bench_rotor(), flow).cp;
  flow.yaw_rad = 1e-4;
  EXPECT_NEAR(rotor_load(bench_rotor(), flow).cp, straight, 1e-3 * straight);
  for (const double yaw_deg : {20.0, 30.0, 40.0}) {
    flow.yaw_rad = yaw_deg * degree;
    const double cp = rotor_load(bench_rotor(), flow).cp;
    EXPECT_LT(cp, straight * std::cos(flow.yaw_rad)) << yaw_deg;
    EXPECT_GT(cp, straight * std::pow(std::cos(flow.yaw_rad), 4)) << yaw_deg;
    flow.yaw_rad = -flow.yaw_rad;
    EXPECT_NEAR(rotor_load(bench_rotor(), flow).cp, cp, 1e-9) << yaw_deg;
  }
}

// The same forces on both ways, stalled blades and augmentation included.
TEST(Rotor, NoYawIsTheLimitOfLittleYaw) {
  for (const double ratio : {0.5, 1.5, 2.0, 3.0, 5.0}) {
    auto flow = flow_at(ratio);
    const RotorLoad straight = rotor_load(bench_rotor(), flow);
    flow.yaw_rad = 1e-10;
    const RotorLoad yawed = rotor_load(bench_rotor(), flow);
    EXPECT_NEAR(yawed.cp, straight.cp, 1e-9) << ratio;
    EXPECT_NEAR(yawed.ct, straight.ct, 1e-9) << ratio;
  }
}

TEST(Rotor, BlendsThePolarsOfItsStations) {
  auto rotor = bench_rotor();
  const auto flat = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = -pi, .cl = 0.2, .cd = 0.1},
                            {.reynolds = 1e5, .alpha_rad = pi, .cl = 0.2, .cd = 0.1}});
  const auto strong = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = -pi, .cl = 1.0, .cd = 0.3},
                            {.reynolds = 1e5, .alpha_rad = pi, .cl = 1.0, .cd = 0.3}});
  rotor.stations = {{0.05, 0.05, 0.0, flat}, {0.3, 0.05, 0.0, strong}};
  const auto load = element_load(rotor, 0.05 + 0.25 * 0.4, flow_at(4.0));
  EXPECT_NEAR(load.cl, 0.2 + 0.4 * 0.8, 1e-12);
  EXPECT_NEAR(load.cd, 0.1 + 0.4 * 0.2, 1e-12);
}

TEST(Rotor, RefusesWhatCannotBe) {
  const auto message = [](const Rotor& rotor, const RotorFlow& flow) -> std::string {
    try {
      rotor_load(rotor, flow);
    } catch (const base::BadInput& error) {
      return error.what();
    }
    return "accepted";
  };
  auto rotor = bench_rotor();
  rotor.blades = 0;
  EXPECT_EQ(message(rotor, flow_at(4.0)), "rotor: has 0 blades: 1 to 12");
  rotor = bench_rotor();
  rotor.hub_radius_m = 0.4;
  EXPECT_EQ(message(rotor, flow_at(4.0)),
            "rotor: hub radius is 0.4 m, tip radius 0.3 m: hub above 0 and below tip");
  EXPECT_EQ(message(bench_rotor(), flow_at(4.0, -1.0)), "rotor: air speed is -1 m/s: 0 or more");
  EXPECT_EQ(message(bench_rotor(), flow_at(NAN)), "rotor: rotor speed is not finite: a number");
  auto flow = flow_at(4.0);
  flow.density_kg_m3 = 0.0;
  EXPECT_EQ(message(bench_rotor(), flow), "rotor: air density is 0 kg/m3: above 0");
  EXPECT_THROW(element_load(bench_rotor(), 0.3, flow_at(4.0)), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
