// SPDX-License-Identifier: Apache-2.0
#include "metrology/sample_statistics.h"

#include "base/errors.h"
#include "metrology/outliers.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <random>
#include <vector>

namespace windwright::metrology {
namespace {

constexpr SettlingRule rule{.drift_relative = 0.01};

// Each sample keeps r of the one before: autocorrelation r^lag.
std::vector<double> autoregressive(double r, std::size_t count, std::mt19937& generator) {
  std::normal_distribution<double> normal;
  std::vector<double> samples;
  double deviation = normal(generator);
  for (std::size_t i = 0; i < count; ++i) {
    samples.push_back(10.0 + deviation);
    deviation = r * deviation + std::sqrt(1.0 - r * r) * normal(generator);
  }
  return samples;
}

// By hand: 1/2 + r + r^2 + ... = (1 + r) / (2 (1 - r)), 4.5 for r = 0.8; n / (2 x 4.5) samples. The
// estimate stays on the safe side of it, by about a tenth: blocks of a long record are never taken
// as better than independent.
TEST(SampleStatistics, IntegralScaleIsTheSumOfTheAutocorrelation) {
  std::mt19937 generator(2026);
  double steps = 0.0;
  double worth = 0.0;
  constexpr int records = 20;
  for (int i = 0; i < records; ++i) {
    const SampleStatistics got = sample_statistics(autoregressive(0.8, 20000, generator), rule);
    steps += got.integral_steps / records;
    worth += got.mean.effective_samples / records;
  }
  EXPECT_GT(steps, 4.5);
  EXPECT_LT(steps, 4.5 * 1.15);
  EXPECT_NEAR(worth, 20000.0 / 9.0, 250.0);
  const SampleStatistics white = sample_statistics(autoregressive(0.0, 20000, generator), rule);
  EXPECT_LT(white.integral_steps, 0.8);
  EXPECT_NEAR(white.intensity, 0.1, 0.003);
}

TEST(SampleStatistics, SeesADriftUnderItsNoise) {
  std::mt19937 generator(7);
  std::vector<double> samples = autoregressive(0.5, 6000, generator);
  EXPECT_TRUE(sample_statistics(samples, rule).drift.settled);
  for (std::size_t i = 0; i < samples.size(); ++i)
    samples[i] += 0.8 * static_cast<double>(i) / static_cast<double>(samples.size());
  const Drift drift = sample_statistics(samples, rule).drift;
  EXPECT_FALSE(drift.settled);
  EXPECT_NEAR(drift.drift, 0.8, 3.0 * drift.u);
  EXPECT_LT(drift.u, 0.2);
}

TEST(SampleStatistics, NamesAnOutlierAndLeavesItIn) {
  std::mt19937 generator(3);
  std::vector<double> samples = autoregressive(0.3, 200, generator);
  const double before = sample_statistics(samples, rule).mean.mean;
  samples[41] += 12.0;
  const SampleStatistics got = sample_statistics(samples, rule);
  ASSERT_EQ(got.suspects.size(), 1U);
  EXPECT_EQ(got.suspects[0].index, 41U);
  EXPECT_EQ(got.suspects[0].standing, Standing::outlier);
  EXPECT_EQ(got.count, 200U);
  EXPECT_NEAR(got.mean.mean, before + 12.0 / 200.0, 1e-12);
  EXPECT_EQ(got.largest, samples[41]);
}

TEST(SampleStatistics, ConstantAndShortRecords) {
  const SampleStatistics constant = sample_statistics(std::vector<double>(50, 3.0), rule);
  EXPECT_EQ(constant.mean.u, 0.0);
  EXPECT_TRUE(constant.drift.settled);
  EXPECT_TRUE(constant.suspects.empty());
  EXPECT_FALSE(sample_statistics(std::vector{1.0, 2.0}, rule).upper);
  EXPECT_THROW(sample_statistics(std::vector{1.0}, rule), base::BadInput);
  EXPECT_THROW(sample_statistics(std::vector<double>{1.0, NAN, 2.0}, rule), base::BadInput);
}

}  // namespace
}  // namespace windwright::metrology
