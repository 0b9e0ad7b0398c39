// SPDX-License-Identifier: Apache-2.0
#include "signal/statistics.h"

#include "base/errors.h"
#include "base/random.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::signal {
namespace {

TEST(Mean, KeepsItsDigitsUnderALargeOffset) {
  EXPECT_EQ(mean(std::vector{1e15 + 1.0, 1e15 + 2.0, 1e15 + 3.0}), 1e15 + 2.0);
}

TEST(Variance, KeepsItsDigitsUnderALargeOffset) {
  EXPECT_EQ(variance(std::vector{1e9 + 1.0, 1e9 + 2.0, 1e9 + 3.0}), 1.0);
}

TEST(Autocorrelation, OfAlternatingSamplesIsNegative) {
  EXPECT_NEAR(autocorrelation(std::vector{1.0, -1.0, 1.0, -1.0}, 1), -0.75, 1e-15);
  EXPECT_EQ(autocorrelation(std::vector{2.0, 2.0, 2.0}, 1), 0.0);
}

TEST(BlockMeans, LeaveOutAnIncompleteBlock) {
  EXPECT_EQ(block_means(std::vector{1.0, 3.0, 5.0, 7.0, 100.0}, 2), (std::vector{2.0, 6.0}));
}

TEST(MeanOfCorrelated, ConstantSamplesHaveNoScatter) {
  const CorrelatedMean got = mean_of_correlated(std::vector<double>(5000, 0.1));
  EXPECT_EQ(got.mean, 0.1);
  EXPECT_EQ(got.u, 0.0);
  EXPECT_EQ(got.dof, 4999.0);
}

TEST(MeanOfCorrelated, TwoSamplesAreEnoughAndOneIsNot) {
  const CorrelatedMean got = mean_of_correlated(std::vector{1.0, 3.0});
  EXPECT_EQ(got.mean, 2.0);
  EXPECT_GE(got.u, 1.0);  // s / sqrt(2)
  EXPECT_EQ(got.dof, 1.0);
  EXPECT_THROW(mean_of_correlated(std::vector{1.0}), base::BadInput);
}

TEST(MeanOfCorrelated, RepeatingEverySampleDoesNotMakeTheMeanBetter) {
  std::vector<double> once;
  std::vector<double> tenfold;
  const base::RandomStream random(1, "once");
  for (int i = 0; i < 400; ++i) {
    const double value = random.normal(static_cast<std::uint64_t>(i));
    once.push_back(value);
    for (int repeat = 0; repeat < 10; ++repeat)
      tenfold.push_back(value);
  }
  const CorrelatedMean a = mean_of_correlated(once);
  const CorrelatedMean b = mean_of_correlated(tenfold);
  EXPECT_NEAR(b.u / a.u, 1.0, 0.3);
  EXPECT_LE(b.effective_samples, 700.0);
}

TEST(MeanOfCorrelated, SwingsAboutTheMeanNeverCountAsMoreSamples) {
  std::vector<double> swing;
  for (int i = 0; i < 4000; ++i)
    swing.push_back(std::sin(i * 0.05));
  EXPECT_LE(mean_of_correlated(swing).effective_samples, 4000.0);
  EXPECT_GT(mean_of_correlated(swing).u, 0.0);
}

TEST(MeansOfCorrelated, ASeriesAndItsMultipleAreFullyCorrelated) {
  std::vector<double> v;
  std::vector<double> minus_two_v;
  for (int i = 0; i < 3000; ++i) {
    v.push_back(7.0 + std::fmod(i * 0.6180339887498949, 1.0) + 0.2 * std::sin(i * 0.01));
    minus_two_v.push_back(-2.0 * v.back());
  }
  const std::vector<std::span<const double>> series{v, minus_two_v};
  const SeriesMeans got = means_of_correlated(series);
  EXPECT_NEAR(got.means[1], -2.0 * got.means[0], 1e-12);
  EXPECT_NEAR(got.covariance[1] / got.covariance[0], -2.0, 1e-9);
  EXPECT_EQ(got.covariance[1], got.covariance[2]);
  EXPECT_NEAR(got.covariance[0], std::pow(mean_of_correlated(v).u, 2.0), 1e-18);
}

TEST(MeansOfCorrelated, AConstantSeriesHasNoCovariance) {
  const std::vector<double> flat(50, 3.0);
  std::vector<double> ramp(50);
  for (std::size_t i = 0; i < ramp.size(); ++i)
    ramp[i] = static_cast<double>(i);
  const SeriesMeans got = means_of_correlated(std::vector<std::span<const double>>{flat, ramp});
  EXPECT_EQ(got.covariance[0], 0.0);
  EXPECT_EQ(got.covariance[1], 0.0);
  EXPECT_GT(got.covariance[3], 0.0);
}

TEST(MeansOfCorrelated, RefusesSeriesOfDifferentLength) {
  const std::vector<double> a(10, 1.0);
  const std::vector<double> b(11, 1.0);
  EXPECT_THROW(means_of_correlated(std::vector<std::span<const double>>{a, b}), base::BadInput);
}

}  // namespace
}  // namespace windwright::signal
