// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/steady_state.h"
#include "metrology/student.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <vector>

namespace windwright::metrology {
namespace {

constexpr int rounds = 1000;

// Block means about 100 with standard deviation 1 and lag-1 autocorrelation r, drifting by `drift`
// over the window.
std::vector<double> block_means(double r, double drift, std::uint64_t seed) {
  constexpr std::size_t n = 40;
  const base::RandomStream random(seed, "block means");
  std::vector<double> means(n);
  double state = random.normal(0);
  for (std::size_t i = 0; i < n; ++i) {
    means[i] = 100.0 + state + drift * static_cast<double>(i) / static_cast<double>(n);
    state = r * state + std::sqrt(1.0 - r * r) * random.normal(i + 1);
  }
  return means;
}

int significant(double r, double drift) {
  int count = 0;
  for (std::uint64_t seed = 0; seed < rounds; ++seed) {
    const Drift got = drift_over(block_means(r, drift, seed), {.drift_relative = 1.0});
    if (std::abs(got.drift) > got.u * student_factor(0.95, got.dof)) ++count;
  }
  return count;
}

int settled(double r, double drift, double drift_relative) {
  int count = 0;
  for (std::uint64_t seed = 0; seed < rounds; ++seed) {
    const auto means = block_means(r, drift, seed);
    if (drift_over(means, {.drift_relative = drift_relative}).settled) ++count;
  }
  return count;
}

// Nominal 5 %; the correction of r for its bias errs towards fewer alarms.
TEST(DriftOver, RaisesFewFalseAlarmsWhateverTheAutocorrelation) {
  EXPECT_LE(significant(0.0, 0.0), 70);
  EXPECT_LE(significant(0.4, 0.0), 70);
  EXPECT_LE(significant(0.7, 0.0), 80);
  EXPECT_GE(significant(0.0, 0.0), 10);
}

TEST(DriftOver, SeesADriftOfFourStandardDeviations) {
  EXPECT_GE(significant(0.0, 4.0), 980);
  EXPECT_GE(significant(0.4, 4.0), 800);
}

TEST(DriftOver, SteadySignalsSettleAndDriftingOnesDoNot) {
  EXPECT_GE(settled(0.0, 0.0, 0.02), 900);
  EXPECT_GE(settled(0.4, 0.0, 0.02), 800);
  EXPECT_LE(settled(0.0, 4.0, 0.02), 10);
  EXPECT_LE(settled(0.4, 4.0, 0.02), 50);
}

}  // namespace
}  // namespace windwright::metrology
