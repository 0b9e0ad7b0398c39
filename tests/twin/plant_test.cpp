// SPDX-License-Identifier: Apache-2.0
#include "twin/plant.h"

#include "physics/tunnel.h"
#include "twin/demo_bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>

namespace windwright::twin {
namespace {

void pass(Plant& plant, double seconds) {
  for (std::int64_t left = std::llround(seconds / plant.tick_s()); left > 0;)
    left -= plant.advance(left);
}

// dv/dt = (v_end - v) / tau from rest: v = v_end (1 - exp(-t / tau)).
TEST(Plant, AirComesUpWithTheLagOfTheTunnel) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  plant.command_fan(50.0);
  const double end_m_s = physics::settled_air_speed_m_s(bench.tunnel, 50.0);
  for (int i = 1; i <= 8; ++i) {
    pass(plant, 0.5);
    const double t = 0.5 * i;
    EXPECT_NEAR(plant.motion_now().air_speed_m_s,
                end_m_s * -std::expm1(-t / bench.tunnel.time_constant_s), 1e-7);
  }
}

TEST(Plant, StandsStillUntilTheWindOvercomesFrictionAndCogging) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  plant.mount(3, 0.1, 0.1);
  const double hold_N_m = physics::breakaway_torque_N_m(plant.truth().generator);
  double last_N_m = 0.0;
  double cut_in_pct = 0.0;
  for (double fan_pct = 5.0; fan_pct < 100.0 && cut_in_pct == 0.0; fan_pct += 1.0) {
    plant.command_fan(fan_pct);
    pass(plant, 20.0);
    if (plant.state().at_rest) {
      last_N_m = plant.power_flow_now().rotor_torque_N_m;
      EXPECT_LT(last_N_m, hold_N_m);
      EXPECT_EQ(plant.motion_now().rotor_speed_rad_s, 0.0);
    } else {
      cut_in_pct = fan_pct;
    }
  }
  EXPECT_GT(last_N_m, 0.9 * hold_N_m);  // it let go as soon as the wind was strong enough
  EXPECT_GT(cut_in_pct, 20.0);
  // Once it turns it keeps turning in less wind than it needed to start, as cogging only holds.
  plant.command_fan(cut_in_pct + 5.0);
  pass(plant, 60.0);
  plant.command_fan(cut_in_pct - 5.0);
  pass(plant, 60.0);
  EXPECT_GT(plant.motion_now().rotor_speed_rad_s, 10.0);
  plant.command_fan(0.0);
  pass(plant, 120.0);
  EXPECT_TRUE(plant.state().at_rest);
  EXPECT_EQ(plant.motion_now().rotor_speed_rad_s, 0.0);
}

// The two-point statistics of the turbulence: unit variance on the grid; between grid points it is
// linear, which leaves 2/3 + rho/3 of the variance, rho = exp(-step v / length).
TEST(Plant, AirIsAsTurbulentAsDescribed) {
  bench::Bench bench = calm_bench();
  bench.tunnel.turbulence_intensity = 0.05;
  Plant plant(bench);
  plant.command_fan(60.0);
  pass(plant, 20.0);
  const double mean_m_s = physics::settled_air_speed_m_s(bench.tunnel, 60.0);
  const double rho = std::exp(-0.02 * mean_m_s / bench.tunnel.integral_length_m);
  double sum = 0.0;
  double squares = 0.0;
  double lagged = 0.0;
  double before = 0.0;
  constexpr int points = 20000;  // of 20 ms
  for (int i = 0; i < points; ++i) {
    pass(plant, 0.02);
    const double x = (plant.motion_now().air_speed_m_s / mean_m_s - 1.0) / 0.05;
    sum += x;
    squares += x * x;
    lagged += x * before;
    before = x;
  }
  // Effective number of independent points of a first-order process.
  const double independent = points * (1.0 - rho * rho) / (1.0 + rho * rho);
  EXPECT_NEAR(squares / points, 1.0, 4.0 * std::sqrt(2.0 / independent));
  EXPECT_NEAR(lagged / squares, rho, 4.0 * std::sqrt((1.0 - rho * rho) / points));
  EXPECT_NEAR(sum / points, 0.0, 4.0 * std::sqrt((1.0 + rho) / (1.0 - rho) / points));
}

TEST(Plant, SamplesInsideAStretchMeetItsEnds) {
  const bench::Bench bench = demo_bench();
  Plant plant(bench);
  plant.mount(3, 0.1, 0.1);
  plant.command_load(physics::LoadSelection::rheostat, 15.0);
  plant.command_fan(80.0);
  pass(plant, 10.0);
  for (int i = 0; i < 50; ++i) {
    const Motion before = plant.motion_now();
    const std::int64_t gone = plant.advance(1000);
    const PlantSample first = plant.sample_after(0.0);
    const PlantSample last = plant.sample_after(static_cast<double>(gone) * plant.tick_s());
    const Motion now = plant.motion_now();
    EXPECT_EQ(first.motion.rotor_speed_rad_s, before.rotor_speed_rad_s);
    EXPECT_NEAR(last.motion.rotor_speed_rad_s, now.rotor_speed_rad_s, 1e-9);
    EXPECT_NEAR(first.motion.air_speed_m_s, before.air_speed_m_s, 1e-12);
    EXPECT_NEAR(last.motion.air_speed_m_s, now.air_speed_m_s, 1e-9);
    EXPECT_NEAR(last.dc_voltage_V, plant.power_flow_now().generator.dc_voltage_V, 1e-9);
  }
}

// Inside a stretch, against stretches cut into single samples.
TEST(Plant, SamplesAreThoseOfAFinerIntegration) {
  const bench::Bench bench = demo_bench();
  Plant coarse(bench);
  coarse.mount(3, 0.1, 0.1);
  coarse.command_load(physics::LoadSelection::lamps, 15.0);
  coarse.command_fan(80.0);
  pass(coarse, 6.0);
  Plant fine(bench);
  fine.restore(coarse.state());
  for (int stretch = 0; stretch < 20; ++stretch) {
    const std::int64_t gone = coarse.advance(1000);
    for (std::int64_t i = 0; i < gone; ++i) {
      const PlantSample sample = coarse.sample_after(static_cast<double>(i) * coarse.tick_s());
      const Motion true_motion = fine.motion_now();
      const PowerFlow flow = fine.power_flow_now();
      ASSERT_NEAR(sample.motion.rotor_speed_rad_s, true_motion.rotor_speed_rad_s, 1e-5);
      ASSERT_NEAR(sample.motion.air_speed_m_s, true_motion.air_speed_m_s, 1e-7);
      ASSERT_NEAR(sample.motion.lamp_temperature_K, true_motion.lamp_temperature_K, 1e-3);
      ASSERT_NEAR(sample.dc_voltage_V, flow.generator.dc_voltage_V, 1e-4);
      ASSERT_NEAR(sample.dc_current_A, flow.generator.dc_current_A, 1e-4);
      fine.advance(1);
    }
  }
}

TEST(Plant, SlowSamplingKeepsTheTurbulenceFine) {
  bench::Bench bench = demo_bench();
  bench.sample_rate_hz = 2.0;
  const Plant plant(bench);
  EXPECT_EQ(plant.ticks_per_sample(), 25);
  EXPECT_DOUBLE_EQ(plant.tick_s(), 0.02);
}

}  // namespace
}  // namespace windwright::twin
