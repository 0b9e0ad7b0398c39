// SPDX-License-Identifier: Apache-2.0
#include "physics/blockage.h"

#include "base/errors.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double air_speed_m_s = 9.0;

double rad(double deg) {
  return deg * pi / 180.0;
}

// Lift 2 pi sin a up to 10 degrees, then stall.
Rotor bench_rotor() {
  std::vector<PolarRow> rows;
  for (int deg = -10; deg <= 10; deg += 2) {
    const double alpha_rad = rad(deg);
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = alpha_rad,
                    .cl = 2.0 * pi * std::sin(alpha_rad),
                    .cd = 0.02 + 0.5 * alpha_rad * alpha_rad});
  }
  rows.push_back({.reynolds = 1e5, .alpha_rad = rad(15), .cl = 0.8, .cd = 0.2});
  const auto polar = std::make_shared<const Polar>(rows);
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = rad(3),
          .stations = {{.radius_m = 0.05, .chord_m = 0.05, .twist_rad = rad(22), .polar = polar},
                       {.radius_m = 0.15, .chord_m = 0.045, .twist_rad = rad(7), .polar = polar},
                       {.radius_m = 0.3, .chord_m = 0.03, .twist_rad = rad(0), .polar = polar}}};
}

RotorFlow flow_at(double tip_speed_ratio) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * air_speed_m_s / 0.3,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.8e-5};
}

double section_m2(double blockage) {
  return swept_area_m2(bench_rotor()) / blockage;
}

// Mass, momentum and both Bernoulli equations, written out apart from the solution.
void expect_balanced(double blockage, const ConfinedDisc& disc) {
  const double wake_share = blockage * disc.disc_speed_ratio / disc.wake_speed_ratio;
  const double u4 = disc.wake_speed_ratio;
  const double u5 = disc.bypass_speed_ratio;
  EXPECT_NEAR(u5 * (1.0 - wake_share), 1.0 - blockage * disc.disc_speed_ratio, 1e-12);
  EXPECT_NEAR(u5 * u5 - u4 * u4, disc.ct, 1e-12);
  EXPECT_NEAR(u5 * u5 - 1.0 - blockage * disc.ct,
              2.0 * (wake_share * u4 * u4 + (1.0 - wake_share) * u5 * u5 - 1.0), 1e-12);
}

TEST(ConfinedDisc, KeepsMassEnergyAndMomentum) {
  for (const double blockage : {1e-6, 0.05, 0.129, 0.3, 0.6, 0.9, 0.999}) {
    for (const double free_ct : {-0.6, -0.3, -1e-7, 0.0, 1e-7, 0.2, 0.6, 8.0 / 9.0, 0.96}) {
      const ConfinedDisc disc = confined_disc_from_free(blockage, free_ct);
      EXPECT_FALSE(disc.held);
      expect_balanced(blockage, disc);
      EXPECT_NEAR(disc.ct, free_ct * std::pow(disc.free_speed_ratio, 2), 1e-12);
      expect_balanced(blockage, confined_disc(blockage, disc.ct));
      EXPECT_NEAR(confined_disc(blockage, disc.ct).free_speed_ratio, disc.free_speed_ratio, 1e-12);
    }
  }
}

TEST(ConfinedDisc, WithoutWallsIsTheOpenAirDisc) {
  for (const double a : {-0.15, 0.0, 0.1, 1.0 / 3.0, 0.39}) {
    const ConfinedDisc disc = confined_disc(0.0, 4.0 * a * (1.0 - a));
    EXPECT_NEAR(disc.disc_speed_ratio, 1.0 - a, 1e-12);
    EXPECT_NEAR(disc.wake_speed_ratio, 1.0 - 2.0 * a, 1e-12);
    EXPECT_NEAR(disc.bypass_speed_ratio, 1.0, 1e-12);
    EXPECT_NEAR(disc.free_speed_ratio, 1.0, 1e-12);
  }
}

TEST(ConfinedDisc, WallsRaiseTheSpeedMoreWithThrustAndBlockage) {
  double before = 1.0;
  for (const double ct : {0.1, 0.3, 0.6, 0.8, 0.95}) {
    const double ratio = confined_disc(0.1, ct).free_speed_ratio;
    EXPECT_GT(ratio, before);
    EXPECT_GT(confined_disc(0.2, ct).free_speed_ratio, ratio);
    before = ratio;
  }
  EXPECT_LT(confined_disc(0.1, -0.3).free_speed_ratio, 1.0) << "a driven disc thins the bypass";
}

TEST(ConfinedDisc, HoldsBeyondItsLimitAndSaysSo) {
  for (const double blockage : {0.0, 0.1, 0.3, 0.8}) {
    const double limit = largest_confined_ct(blockage);
    const ConfinedDisc within = confined_disc(blockage, limit - 1e-9);
    EXPECT_FALSE(within.held);
    for (const double ct : {limit + 1e-9, limit + 0.5, 40.0}) {
      const ConfinedDisc beyond = confined_disc(blockage, ct);
      EXPECT_TRUE(beyond.held);
      EXPECT_NEAR(beyond.free_speed_ratio, within.free_speed_ratio, 1e-8) << "no step at the limit";
    }
    EXPECT_TRUE(confined_disc_from_free(blockage, 1.6).held);
    EXPECT_NEAR(confined_disc_from_free(blockage, 1.6).ct, limit, 1e-12);
    EXPECT_TRUE(confined_disc(blockage, -5.0).held);
  }
}

// The closures of open air meet at an induction of 0.4; above it a rotor in open air and the
// open-air side of the correction must follow the same relation.
TEST(ConfinedDisc, OpenAirSideFollowsTheClosureOfTheRotor) {
  for (const double free_ct : {0.5, 0.959, 0.961, 1.05}) {
    const ConfinedDisc disc = confined_disc_from_free(0.2, free_ct);
    const double a = disc.free_induction;
    const double momentum = 4.0 * a * (1.0 - a);
    const double buhl = 8.0 / 9.0 - 4.0 / 9.0 * a + 14.0 / 9.0 * a * a;
    EXPECT_NEAR(free_ct, a <= 0.4 ? momentum : buhl, 1e-12);
    EXPECT_EQ(a > 0.4, free_ct > 0.96);
    EXPECT_NEAR(disc.disc_speed_ratio, (1.0 - a) * disc.free_speed_ratio, 1e-12);
  }
}

TEST(ConfinedDisc, RefusesWhatIsNoBlockage) {
  for (const double blockage : {-0.1, 1.0, std::nan("")}) {
    EXPECT_THROW(confined_disc(blockage, 0.5), base::BadInput);
    EXPECT_THROW(confined_disc_from_free(blockage, 0.5), base::BadInput);
    EXPECT_THROW(largest_cp(blockage), base::BadInput);
  }
  EXPECT_THROW(confined_disc(0.1, std::nan("")), base::BadInput);
}

// A tunnel's point, corrected, must lie on the rotor's open-air curve at the tunnel's own air
// speed. The Reynolds number is not quite that of the equivalent speed, hence not exact.
TEST(RotorInTunnel, CorrectedComesBackToTheOpenAirCurve) {
  const Rotor rotor = bench_rotor();
  for (const double blockage : {0.05, 0.129, 0.2, 0.3}) {
    for (double tip_speed_ratio = 2.0; tip_speed_ratio <= 7.0; tip_speed_ratio += 0.5) {
      const RotorLoad shown =
          rotor_load_in_tunnel(rotor, flow_at(tip_speed_ratio), section_m2(blockage));
      const ConfinedDisc disc = confined_disc(blockage, shown.ct);
      ASSERT_FALSE(disc.held);
      const double ratio = disc.free_speed_ratio;
      const RotorLoad open = rotor_load(rotor, flow_at(shown.tip_speed_ratio / ratio));
      EXPECT_NEAR(shown.cp / std::pow(ratio, 3) / open.cp, 1.0, 0.005)
          << "blockage " << blockage << ", tip-speed ratio " << tip_speed_ratio;
      EXPECT_NEAR(shown.ct / std::pow(ratio, 2) / open.ct, 1.0, 0.005);
    }
  }
}

TEST(RotorInTunnel, ForcesAreThoseOfTheEquivalentOpenAirSpeed) {
  const Rotor rotor = bench_rotor();
  const RotorFlow flow = flow_at(5.0);
  const RotorInTunnel found = rotor_in_tunnel(rotor, flow, section_m2(0.2));
  EXPECT_GT(found.free_air_speed_m_s, flow.air_speed_m_s);
  RotorFlow free = flow;
  free.air_speed_m_s = found.free_air_speed_m_s;
  EXPECT_DOUBLE_EQ(found.load.thrust_N, rotor_load(rotor, free).thrust_N);
  const double push_N =
      0.5 * flow.density_kg_m3 * swept_area_m2(rotor) * air_speed_m_s * air_speed_m_s;
  EXPECT_NEAR(found.load.ct, found.load.thrust_N / push_N, 1e-12);
  EXPECT_NEAR(found.load.cp, found.load.power_W / (push_N * air_speed_m_s), 1e-12);
  EXPECT_NEAR(found.load.cq, found.load.torque_N_m / (push_N * 0.3), 1e-12);
  EXPECT_NEAR(found.load.tip_speed_ratio, 5.0, 1e-12);
  EXPECT_NEAR(found.disc.ct, found.load.ct, 1e-10) << "the disc state is the rotor's own";
  EXPECT_NEAR(found.disc.free_speed_ratio, found.free_air_speed_m_s / air_speed_m_s, 1e-10);
}

TEST(RotorInTunnel, IsFiniteWhereverTheRotorIs) {
  const Rotor rotor = bench_rotor();
  for (const double blockage : {0.001, 0.3, 0.95}) {
    for (const double tip_speed_ratio : {-5.0, 0.0, 0.05, 1.0, 12.0, 25.0}) {
      const RotorLoad load =
          rotor_load_in_tunnel(rotor, flow_at(tip_speed_ratio), section_m2(blockage));
      EXPECT_TRUE(std::isfinite(load.cp) && std::isfinite(load.ct)) << tip_speed_ratio;
      EXPECT_NEAR(load.tip_speed_ratio, tip_speed_ratio, 1e-9);
    }
  }
  RotorFlow still = flow_at(5.0);
  still.air_speed_m_s = 0.0;
  EXPECT_EQ(rotor_load_in_tunnel(rotor, still, section_m2(0.2)).torque_N_m,
            rotor_load(rotor, still).torque_N_m);
}

TEST(RotorInTunnel, RefusesASectionThatTheRotorDoesNotFitInto) {
  try {
    rotor_load_in_tunnel(bench_rotor(), flow_at(5.0), 0.28);
    FAIL() << "accepted";
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()),
              "section_area_m2: 0.28 m2 do not hold the rotor's 0.2827 m2: the clear "
              "cross-section of the tunnel at the rotor");
  }
}

}  // namespace
}  // namespace windwright::physics
