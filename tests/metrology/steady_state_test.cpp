// SPDX-License-Identifier: Apache-2.0
#include "metrology/steady_state.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace windwright::metrology {
namespace {

TEST(DriftOver, AConstantSignalIsSettled) {
  const Drift got = drift_over(std::vector<double>(20, 7.0), {.drift_relative = 0.01});
  EXPECT_TRUE(got.settled);
  EXPECT_EQ(got.drift, 0.0);
  EXPECT_EQ(got.u, 0.0);
}

TEST(DriftOver, ARampIsItsSlopeTimesTheWindow) {
  std::vector<double> ramp;
  for (int i = 0; i < 20; ++i)
    ramp.push_back(100.0 + 0.5 * i);
  const Drift got = drift_over(ramp, {.drift_relative = 0.05});
  EXPECT_NEAR(got.drift, 10.0, 1e-12);
  EXPECT_FALSE(got.settled);
}

TEST(DriftOver, ATinyDriftThatIsPlainToSeeDoesNoHarm) {
  std::vector<double> ramp;
  for (int i = 0; i < 20; ++i)
    ramp.push_back(100.0 + 0.0005 * i);
  EXPECT_TRUE(drift_over(ramp, {.drift_relative = 0.01}).settled);
}

TEST(DriftOver, ASignalNearZeroNeedsAnAbsoluteBound) {
  std::vector<double> ramp;
  for (int i = 0; i < 20; ++i)
    ramp.push_back(-0.0095 + 0.001 * i);
  EXPECT_FALSE(drift_over(ramp, {.drift_relative = 0.01}).settled);
  EXPECT_TRUE(drift_over(ramp, {.drift_relative = 0.01, .drift_absolute = 0.05}).settled);
}

TEST(DriftOver, AnExponentialApproachIsNotSettledUntilItIsFlat) {
  std::vector<double> signal;
  for (int i = 0; i < 100; ++i)
    signal.push_back(10.0 * (1.0 - std::exp(-i / 10.0)));
  const std::span<const double> all(signal);
  EXPECT_FALSE(drift_over(all.subspan(10, 20), {.drift_relative = 0.01}).settled);
  EXPECT_TRUE(drift_over(all.subspan(80, 20), {.drift_relative = 0.01}).settled);
}

TEST(DriftOver, TooShortAWindowIsNotSettled) {
  EXPECT_FALSE(drift_over(std::vector<double>(5, 7.0), {.drift_relative = 0.01}).settled);
  EXPECT_FALSE(drift_over({}, {.drift_relative = 0.01}).settled);
}

}  // namespace
}  // namespace windwright::metrology
