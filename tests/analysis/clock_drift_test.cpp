// SPDX-License-Identifier: Apache-2.0
#include "analysis/clock_drift.h"

#include "base/clock.h"
#include "recording/recording.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <cstdint>
#include <optional>
#include <random>
#include <vector>

namespace windwright::analysis {
namespace {

using recording::ClockPair;
using recording::Gap;

// A device that takes `ahead_ppm` more samples than it says, a pair every 4 s, each under way for
// up to 2 ms.
std::vector<ClockPair> pairs_of(double ahead_ppm, int count, std::uint32_t seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> way_ns(0.0, 2e6);
  std::vector<ClockPair> pairs;
  const base::UtcTime begin{std::chrono::hours(24 * 365 * 56)};
  for (int k = 0; k < count; ++k) {
    const std::int64_t device_ns = 4'000'000'000LL * k + 99'000'000;
    const double host_ns = static_cast<double>(device_ns) / (1.0 + 1e-6 * ahead_ppm);
    pairs.push_back(
        {.sample = device_ns / 1'000'000,
         .device_ns = device_ns,
         .host = begin + std::chrono::nanoseconds(std::llround(host_ns + way_ns(random)))});
  }
  return pairs;
}

TEST(ClockDrift, IsFoundWithAnUncertaintyThatHolds) {
  // Of a hundred recordings about five lie outside 95 %; Student's factor for 28 degrees is 2.05.
  for (const double ahead_ppm : {-250.0, 0.0, 40.0}) {
    int outside = 0;
    for (std::uint32_t seed = 0; seed < 100; ++seed) {
      const auto drift = clock_drift(pairs_of(ahead_ppm, 30, seed), {});
      ASSERT_TRUE(drift);
      EXPECT_EQ(drift->dof, 28.0);
      EXPECT_LT(drift->u_drift_ppm, 5.0);
      if (std::abs(drift->drift_ppm - ahead_ppm) > 2.05 * drift->u_drift_ppm) ++outside;
    }
    EXPECT_LE(outside, 12);
    EXPECT_GE(outside, 1);
  }
}

TEST(ClockDrift, CountsTheRateByTheComputersClock) {
  const auto drift = clock_drift(pairs_of(100.0, 1'000, 1), {});
  ASSERT_TRUE(drift);
  EXPECT_NEAR(drift->rate_Hz(1000.0), 1000.1, 4.0 * drift->u_rate_Hz(1000.0));
  EXPECT_LT(drift->u_rate_Hz(1000.0), 1e-4);
  EXPECT_EQ(drift->pairs, 1'000);
  EXPECT_NEAR(drift->span_s, 3'996.0, 1e-6);
}

// Behind a gap the count may have been set by the computer's clock: a second off changes nothing.
TEST(ClockDrift, LooksOnlyBetweenGaps) {
  std::vector<ClockPair> pairs = pairs_of(40.0, 30, 3);
  for (std::size_t k = 12; k < pairs.size(); ++k)
    pairs[k].host += std::chrono::seconds(1);
  const std::vector<Gap> gaps{{.before_sample = pairs[12].sample - 50, .device_sample = 0}};
  const auto drift = clock_drift(pairs, gaps);
  ASSERT_TRUE(drift);
  EXPECT_EQ(drift->dof, 27.0);
  EXPECT_NEAR(drift->drift_ppm, 40.0, 3.0 * drift->u_drift_ppm);
  EXPECT_GT(std::abs(clock_drift(pairs, {})->drift_ppm - 40.0), 1'000.0);
}

TEST(ClockDrift, IsNotStatedFromTooLittle) {
  EXPECT_FALSE(clock_drift({}, {}));
  EXPECT_FALSE(clock_drift(pairs_of(40.0, 4, 1), {}));
  EXPECT_TRUE(clock_drift(pairs_of(40.0, 5, 1), {}));
}

}  // namespace
}  // namespace windwright::analysis
