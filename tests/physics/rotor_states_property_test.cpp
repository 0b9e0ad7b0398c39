// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "physics/blockage.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;
constexpr int rotors = 1000;
constexpr std::size_t ratios = 25;  // a rotor
constexpr std::size_t pitches = 40;

class Draw {
 public:
  explicit Draw(int rotor) : random_(static_cast<std::uint64_t>(rotor), "rotor states") {}
  double between(double low, double high) { return low + (high - low) * random_.uniform(next_++); }

 private:
  base::RandomStream random_;
  std::uint64_t next_ = 0;
};

std::shared_ptr<const Polar> any_polar(Draw& draw) {
  const double slope = draw.between(0.06, 0.11);  // a degree
  const double camber_deg = draw.between(-2.0, 6.0);
  const double stall = draw.between(0.6, 1.6);
  const double drop = draw.between(0.0, 0.4);  // of lift, within two degrees past the stall
  const double drag = draw.between(0.0, 0.05);
  std::vector<PolarRow> rows;
  for (const double reynolds : {3e4, 3e5}) {
    for (int alpha_deg = -15; alpha_deg <= 25; ++alpha_deg) {
      const double line = slope * (alpha_deg + camber_deg);
      const double fallen = std::clamp(0.5 * (line / slope - stall / slope - 3.0), 0.0, 1.0);
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = stall * std::tanh(line / stall) * (1.0 - drop * fallen) *
                            (reynolds > 1e5 ? 1.0 : 0.9),
                      .cd = drag * (reynolds > 1e5 ? 1.0 : 1.5) + 1e-4 * alpha_deg * alpha_deg});
    }
  }
  return std::make_shared<const Polar>(rows, draw.between(3.0, 20.0));
}

Rotor any_rotor(Draw& draw) {
  const auto polar = any_polar(draw);
  const double tip_m = draw.between(0.1, 2.0);
  const double hub_m = tip_m * draw.between(0.05, 0.4);
  return {.blades = 1 + static_cast<int>(draw.between(0.0, 11.999)),
          .hub_radius_m = hub_m,
          .tip_radius_m = tip_m,
          .pitch_rad = 0.0,
          .stations = {
              {hub_m, tip_m * draw.between(0.02, 0.25), draw.between(-5.0, 50.0) * degree, polar},
              {tip_m, tip_m * draw.between(0.02, 0.15), draw.between(-5.0, 15.0) * degree, polar}}};
}

struct Points {
  Rotor rotor;
  RotorFlow flow;
  RotorOptions options;
  std::vector<double> ratio;
  std::vector<double> pitch_rad;

  std::vector<RotorLoad> loads() const {
    return rotor_surface(rotor, flow, ratio, pitch_rad, options);
  }
};

Points any_points(int number) {
  Draw draw(number);
  Points points{.rotor = any_rotor(draw),
                .flow = {.air_speed_m_s = draw.between(0.5, 30.0),
                         .rotor_speed_rad_s = 0.0,
                         .density_kg_m3 = draw.between(0.9, 1.4),
                         .dynamic_viscosity_Pa_s = 1.8e-5},
                .options = {.elements = 30, .rotational_augmentation = number % 2 == 0},
                .ratio = {},
                .pitch_rad = {}};
  for (std::size_t i = 0; i < ratios; ++i)
    points.ratio.push_back(0.05 * std::pow(500.0, draw.between(0.0, 1.0)));  // 0.05 to 25
  for (std::size_t i = 0; i < pitches; ++i)
    points.pitch_rad.push_back(draw.between(-20.0, 90.0) * degree);
  return points;
}

// How large forces are at a point: what a relative error refers to.
double size_of(const RotorLoad& load) {
  return 1.0 + std::abs(load.ct) + std::abs(load.cp);
}

// A million points: 1 to 12 blades, tip-speed ratios 0.05 to 25, pitch -20 to 90 degrees, half of
// them with rotational augmentation, all polars with a stall.
TEST(RotorStates, AMillionRandomPointsAllBalanceWithinTheLimitOfTheirSection) {
  double worst_residual = 0.0;
  double closest_to_limit = 0.0;
  std::size_t count = 0;
  for (int number = 0; number < rotors; ++number) {
    const Points points = any_points(number);
    const double blockage = 0.001 * (number % 300);
    for (const RotorLoad& load : points.loads()) {
      ++count;
      ASSERT_EQ(load.unconverged_elements, 0) << number << " at " << load.unconverged_radius_m;
      ASSERT_TRUE(std::isfinite(load.power_W) && std::isfinite(load.thrust_N)) << number;
      worst_residual = std::max(worst_residual, load.largest_residual);
      ASSERT_LE(load.cp, 16.0 / 27.0) << number;
      // The same disc between walls, on the tunnel's speed.
      if (load.cp < 0.1 || load.ct <= 0.0) continue;
      const ConfinedDisc disc = confined_disc_from_free(blockage, load.ct);
      if (disc.held) continue;
      const double cp = load.cp * std::pow(disc.free_speed_ratio, 3);
      closest_to_limit = std::max(closest_to_limit, cp / largest_cp(blockage));
    }
  }
  RecordProperty("points", std::to_string(count));
  RecordProperty("worst_residual", fmt::format("{:.3g}", worst_residual));
  RecordProperty("closest_to_limit", fmt::format("{:.4f}", closest_to_limit));
  EXPECT_EQ(count, 1000000U);
  EXPECT_LT(worst_residual, 1e-10);
  EXPECT_LE(closest_to_limit, 1.0);
  EXPECT_GT(closest_to_limit, 0.7) << "the points should come near the limit";
}

// Measured polars are like this: every Reynolds number has its own range of angles and its own
// stall, and stations differ. Reynolds number and angle are then bound up closely.
std::shared_ptr<const Polar> uneven_polar(Draw& draw) {
  std::vector<PolarRow> rows;
  for (const double reynolds : {2e4, 5e4, 2e5}) {
    const int lowest_deg = static_cast<int>(draw.between(-20.0, -4.0));
    const int highest_deg = static_cast<int>(draw.between(8.0, 30.0));
    const double stall = draw.between(0.5, 1.5);
    const double drag = draw.between(0.01, 0.06);
    for (int alpha_deg = lowest_deg; alpha_deg <= highest_deg; ++alpha_deg) {
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = stall * std::tanh(0.1 * (alpha_deg + 2.0) / stall),
                      .cd = drag + 2e-4 * alpha_deg * alpha_deg});
    }
  }
  return std::make_shared<const Polar>(rows, draw.between(3.0, 15.0));
}

TEST(RotorStates, UnevenPolarsBalanceTooInBothDirectionsOfTurning) {
  double worst_residual = 0.0;
  int unconverged = 0;
  for (int number = 0; number < 200; ++number) {
    Draw draw(5000 + number);
    Rotor rotor = any_rotor(draw);
    rotor.stations.front().polar = uneven_polar(draw);
    rotor.stations.back().polar = uneven_polar(draw);
    RotorStation middle = rotor.stations.front();
    middle.radius_m = 0.5 * (rotor.hub_radius_m + rotor.tip_radius_m);
    middle.twist_rad = draw.between(-5.0, 30.0) * degree;
    middle.polar = uneven_polar(draw);
    rotor.stations.insert(rotor.stations.begin() + 1, middle);
    for (int i = 0; i < 100; ++i) {
      const double ratio = 0.05 * std::pow(500.0, draw.between(0.0, 1.0));
      rotor.pitch_rad = draw.between(-20.0, 90.0) * degree;
      const RotorFlow flow{
          .air_speed_m_s = 10.0,
          .rotor_speed_rad_s = (i % 2 == 0 ? ratio : -ratio) * 10.0 / rotor.tip_radius_m,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.8e-5};
      const RotorLoad load = rotor_load(rotor, flow);
      ASSERT_TRUE(std::isfinite(load.cp) && std::isfinite(load.ct));
      unconverged += load.unconverged_elements;
      worst_residual = std::max(worst_residual, load.largest_residual);
    }
  }
  RecordProperty("worst_residual", fmt::format("{:.3g}", worst_residual));
  EXPECT_EQ(unconverged, 0);
  EXPECT_LT(worst_residual, 1e-10);
}

// A step of 1e-9 may move the loads by ten thousand times as much at most. An element in stall has
// up to three balances; where two of them meet and vanish, the loads really jump. A step this small
// meets such a place about once in a million points.
TEST(RotorStates, AMillionRandomPointsAreContinuousUnderSmallSteps) {
  std::size_t jumps = 0;
  for (int number = 0; number < rotors; ++number) {
    Points points = any_points(number);
    const auto before = points.loads();
    for (double& ratio : points.ratio)
      ratio *= 1.0 + 1e-9;
    for (double& pitch_rad : points.pitch_rad)
      pitch_rad += 1e-9;
    const auto after = points.loads();
    for (std::size_t i = 0; i < before.size(); ++i) {
      const double step =
          std::abs(after[i].cp - before[i].cp) + std::abs(after[i].ct - before[i].ct);
      if (step > 1e-5 * size_of(before[i])) ++jumps;
    }
  }
  RecordProperty("jumps", std::to_string(jumps));
  EXPECT_LE(jumps, 10U);
}

// rotor_load and rotor_surface solve the same equations on their own ways to the root.
TEST(RotorStates, SurfaceAndSinglePointsAgree) {
  std::size_t apart = 0;
  for (int number = 0; number < 20; ++number) {
    const Points points = any_points(number);
    const auto surface = points.loads();
    Rotor rotor = points.rotor;
    RotorFlow flow = points.flow;
    for (std::size_t i = 0; i < surface.size(); ++i) {
      rotor.pitch_rad = points.pitch_rad[i / ratios];
      flow.rotor_speed_rad_s = points.ratio[i % ratios] * flow.air_speed_m_s / rotor.tip_radius_m;
      const RotorLoad one = rotor_load(rotor, flow, points.options);
      const double step = std::abs(one.cp - surface[i].cp) + std::abs(one.ct - surface[i].ct);
      if (step > 1e-9 * size_of(one)) ++apart;
    }
  }
  RecordProperty("apart", std::to_string(apart));
  // Where an element is about to change its branch they may choose differently: the surface scans
  // at one Reynolds number for all tip-speed ratios. Half a percent of these mostly stalled points.
  EXPECT_LE(apart, 100U);
}

}  // namespace
}  // namespace windwright::physics
