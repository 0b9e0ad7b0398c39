// SPDX-License-Identifier: Apache-2.0
#include "physics/tunnel.h"

#include "base/random.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>

namespace windwright::physics {
namespace {

Tunnel bench_tunnel() {
  return {.rated_air_speed_m_s = 12.0,
          .time_constant_s = 1.5,
          .turbulence_intensity = 0.01,
          .integral_length_m = 0.1};
}

TEST(Tunnel, AirSpeedIsProportionalToFanSpeedBetweenStandstillAndRated) {
  const Tunnel tunnel = bench_tunnel();
  EXPECT_DOUBLE_EQ(settled_air_speed_m_s(tunnel, 50.0), 6.0);
  EXPECT_DOUBLE_EQ(settled_air_speed_m_s(tunnel, 100.0), 12.0);
  EXPECT_DOUBLE_EQ(settled_air_speed_m_s(tunnel, 130.0), 12.0);
  EXPECT_DOUBLE_EQ(settled_air_speed_m_s(tunnel, -5.0), 0.0);
}

// A first-order lag has covered 1 - 1/e = 63.2 % of the way after one time constant, and 95 % after
// three (common practice, no source).
TEST(Tunnel, ApproachesTheSettledSpeedAsAFirstOrderLag) {
  const Tunnel tunnel = bench_tunnel();
  constexpr double step_s = 1e-4;
  double air_speed_m_s = 0.0;
  for (int i = 0; i < 15000; ++i) {
    air_speed_m_s += step_s * air_acceleration_m_s2(tunnel, 100.0, air_speed_m_s);
  }
  EXPECT_NEAR(air_speed_m_s / 12.0, 0.632, 5e-4);
  for (int i = 0; i < 30000; ++i) {
    air_speed_m_s += step_s * air_acceleration_m_s2(tunnel, 100.0, air_speed_m_s);
  }
  EXPECT_NEAR(air_speed_m_s / 12.0, 0.950, 5e-4);
}

TEST(Tunnel, StillAirHasNoFluctuation) {
  EXPECT_EQ(next_fluctuation_m_s(bench_tunnel(), 0.0, 0.3, 0.01, 1.0), 0.0);
  EXPECT_EQ(next_fluctuation_m_s(bench_tunnel(), -1.0, 0.3, 0.01, 1.0), 0.0);
}

// Law of the process after a time t from a known start: mean x exp(-t), variance (1 - exp(-2 t)).
// The law of n short steps follows from their coefficients without any random numbers.
TEST(Tunnel, ManyShortStepsHaveTheLawOfOneLongStep) {
  const Tunnel tunnel = bench_tunnel();
  constexpr double air_speed_m_s = 8.0;
  const auto decay = [&](double step_s) {
    return next_fluctuation_m_s(tunnel, air_speed_m_s, 1.0, step_s, 0.0);
  };
  const auto spread = [&](double step_s) {
    return next_fluctuation_m_s(tunnel, air_speed_m_s, 0.0, step_s, 1.0);
  };
  for (const int n : {2, 10, 1000}) {
    const double long_step_s = 0.02;
    const double short_step_s = long_step_s / n;
    double variance = 0.0;
    double mean = 1.0;
    for (int i = 0; i < n; ++i) {
      mean *= decay(short_step_s);
      variance = variance * decay(short_step_s) * decay(short_step_s) +
                 spread(short_step_s) * spread(short_step_s);
    }
    EXPECT_NEAR(mean, decay(long_step_s), 1e-12);
    EXPECT_NEAR(variance, spread(long_step_s) * spread(long_step_s), 1e-14);
  }
  EXPECT_NEAR(spread(1e6), 0.01 * air_speed_m_s, 1e-15);
}

// 200 000 steps of a tenth of the time scale hold 200 000 (1 - a) / (1 + a) = 10 000 independent
// values, so mean and standard deviation are within four of their own deviations (1 % and 0.7 %).
TEST(Tunnel, FluctuationHasTheStatedIntensityAndTimeScale) {
  const Tunnel tunnel = bench_tunnel();
  const base::RandomStream random(7, "tunnel test");
  constexpr double air_speed_m_s = 10.0;
  constexpr double step_s = 0.1 * 0.1 / air_speed_m_s;
  double fluctuation_m_s = 0.0;
  double sum = 0.0;
  double square_sum = 0.0;
  double lagged_sum = 0.0;
  constexpr int steps = 200000;
  for (std::uint64_t i = 0; i < steps; ++i) {
    const double next_m_s =
        next_fluctuation_m_s(tunnel, air_speed_m_s, fluctuation_m_s, step_s, random.normal(i));
    lagged_sum += next_m_s * fluctuation_m_s;
    sum += next_m_s;
    square_sum += next_m_s * next_m_s;
    fluctuation_m_s = next_m_s;
  }
  constexpr double stated_m_s = 0.01 * air_speed_m_s;
  EXPECT_NEAR(sum / steps, 0.0, 4.0 * 0.01 * stated_m_s);
  EXPECT_NEAR(std::sqrt(square_sum / steps), stated_m_s, 4.0 * 0.007 * stated_m_s);
  EXPECT_NEAR(lagged_sum / square_sum, std::exp(-0.1), 0.005);
}

}  // namespace
}  // namespace windwright::physics
