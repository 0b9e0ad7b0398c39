// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "signal/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::signal {
namespace {

// Two-sided 95 % points of Student's t, by interpolation in 1/dof (JCGM 100:2008, Table G.2).
double coverage_factor(double dof) {
  const std::vector<double> inverse{1.0,      1.0 / 2,  1.0 / 3,  1.0 / 5,
                                    1.0 / 10, 1.0 / 20, 1.0 / 50, 0.0};
  const std::vector<double> factor{12.71, 4.30, 3.18, 2.57, 2.23, 2.09, 2.01, 1.96};
  const double x = std::min(1.0, 1.0 / dof);
  std::size_t i = 0;
  while (inverse[i + 1] > x)
    ++i;
  const double share = (x - inverse[i + 1]) / (inverse[i] - inverse[i + 1]);
  return factor[i + 1] + share * (factor[i] - factor[i + 1]);
}

// First-order autoregressive series with mean 0 and unit variance.
std::vector<double> autoregressive(std::size_t n, double r, std::uint64_t seed) {
  const base::RandomStream random(seed, "autoregressive");
  std::vector<double> series(n);
  double state = random.normal(0);
  for (std::size_t i = 0; i < n; ++i) {
    series[i] = state;
    state = r * state + std::sqrt(1.0 - r * r) * random.normal(i + 1);
  }
  return series;
}

// 95 % of 1000 intervals cover the true mean; four standard deviations of that count are 2.8 %.
void expect_coverage(std::size_t n, double r) {
  int covered = 0;
  for (std::uint64_t seed = 0; seed < 1000; ++seed) {
    const CorrelatedMean got = mean_of_correlated(autoregressive(n, r, seed));
    if (std::abs(got.mean) <= coverage_factor(got.dof) * got.u) ++covered;
  }
  EXPECT_GE(covered, 920) << n << " samples, r = " << r;
  EXPECT_LE(covered, 980) << n << " samples, r = " << r;
}

TEST(MeanOfCorrelated, IntervalCoversTheMeanOfIndependentSamples) {
  expect_coverage(2000, 0.0);
}
TEST(MeanOfCorrelated, IntervalCoversTheMeanOfShortSeries) {
  expect_coverage(200, 0.8);
}
TEST(MeanOfCorrelated, IntervalCoversTheMeanOfCorrelatedSamples) {
  expect_coverage(2000, 0.95);
}
TEST(MeanOfCorrelated, IntervalCoversTheMeanOfSlowSamples) {
  expect_coverage(8000, 0.99);
}

TEST(MeanOfCorrelated, SeesASlowPartBeneathFastNoise) {
  int covered = 0;
  for (std::uint64_t seed = 0; seed < 500; ++seed) {
    std::vector<double> series = autoregressive(20000, 0.995, seed);
    const base::RandomStream noise(seed, "noise");
    for (std::size_t i = 0; i < series.size(); ++i)
      series[i] = 0.2 * series[i] + noise.normal(i);
    const CorrelatedMean got = mean_of_correlated(series);
    if (std::abs(got.mean) <= coverage_factor(got.dof) * got.u) ++covered;
  }
  EXPECT_GE(covered, 455);
}

// For an autoregressive series the effective number is n (1 - r) / (1 + r).
TEST(MeanOfCorrelated, FindsTheEffectiveNumberOfAnAutoregressiveSeries) {
  for (const double r : {0.0, 0.5, 0.9}) {
    double sum = 0.0;
    for (std::uint64_t seed = 0; seed < 100; ++seed) {
      sum += mean_of_correlated(autoregressive(20000, r, seed)).effective_samples / 100.0;
    }
    EXPECT_NEAR(sum / (20000.0 * (1.0 - r) / (1.0 + r)), 1.0, 0.1) << r;
  }
}

// y answers x late and slowly, as a rotor does the air speed: samples of one instant are hardly
// correlated, the means are.
TEST(MeansOfCorrelated, CovarianceIsThatOfTheMeansAlsoWhereOneAnswersLate) {
  constexpr std::size_t n = 10000;
  constexpr int rounds = 200;
  double product = 0.0;
  double square_x = 0.0;
  double square_y = 0.0;
  double coefficient = 0.0;
  double at_once = 0.0;  // what samples of one instant show
  for (std::uint64_t seed = 0; seed < rounds; ++seed) {
    const std::vector<double> all = autoregressive(n, 0.95, seed);
    const std::vector<double> own = autoregressive(n, 0.95, seed + 100000);
    std::vector<double> y(n);
    double state = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
      state += 0.004 * (0.8 * all[i] + 0.6 * own[i] - state);
      y[i] = state;
    }
    const std::vector<std::span<const double>> series{all, y};
    const SeriesMeans got = means_of_correlated(series);
    product += got.means[0] * got.means[1];
    square_x += got.means[0] * got.means[0];
    square_y += got.means[1] * got.means[1];
    coefficient += got.covariance[1] / std::sqrt(got.covariance[0] * got.covariance[3]) / rounds;
    double sum = 0.0;
    for (std::size_t i = 0; i < n; ++i)
      sum += (all[i] - got.means[0]) * (y[i] - got.means[1]);
    at_once += sum / static_cast<double>(n) / std::sqrt(variance(all) * variance(y)) / rounds;
  }
  EXPECT_NEAR(coefficient, product / std::sqrt(square_x * square_y), 0.15);
  EXPECT_GT(coefficient, 2.0 * at_once);
}

TEST(MeansOfCorrelated, CovarianceIsPositiveSemidefinite) {
  for (std::uint64_t seed = 0; seed < 200; ++seed) {
    const std::vector<double> x = autoregressive(300, 0.7, seed);
    std::vector<double> cube;
    std::vector<double> sum;
    for (std::size_t i = 0; i < x.size(); ++i) {
      cube.push_back(std::pow(x[i] + 5.0, 3.0));
      sum.push_back(x[i] + cube[i]);
    }
    const SeriesMeans got = means_of_correlated(std::vector<std::span<const double>>{x, cube, sum});
    const auto& c = got.covariance;
    for (const auto& w :
         {std::vector{1.0, 0.0, -1.0}, std::vector{75.0, -1.0, 0.0}, std::vector{1.0, 1.0, -1.0}}) {
      double form = 0.0;
      double size = 0.0;
      for (std::size_t i = 0; i < 3; ++i) {
        for (std::size_t j = 0; j < 3; ++j)
          form += w[i] * w[j] * c[i * 3 + j];
        size += w[i] * w[i] * c[i * 3 + i];
      }
      EXPECT_GE(form, -1e-12 * size);
    }
  }
}

}  // namespace
}  // namespace windwright::signal
