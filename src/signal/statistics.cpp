// SPDX-License-Identifier: Apache-2.0
#include "signal/statistics.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::signal {

namespace {

constexpr std::size_t fewest_blocks = 128;
// So that one series may follow the other by a few blocks without the connection being lost.
constexpr std::size_t fewest_lags_between_series = 8;

void require_samples(std::span<const double> samples, std::size_t fewest, std::string_view what) {
  if (samples.size() >= fewest) return;
  throw base::BadInput(what, fmt::format("has {} samples", samples.size()),
                       fmt::format("at least {}", fewest));
}

// Sum of products of deviations from the means, `b` later by `lag`, over the number of samples.
double covariance_at(std::span<const double> a, std::span<const double> b, std::size_t lag) {
  double sum = 0.0;
  for (std::size_t i = 0; i + lag < a.size(); ++i)
    sum += a[i] * b[i + lag];
  return sum / static_cast<double>(a.size());
}

// Deviations of block means from their mean, few enough for any lag window.
std::vector<double> deviations(std::span<const double> samples) {
  const std::size_t size = std::max<std::size_t>(1, samples.size() / fewest_blocks);
  std::vector<double> blocks = block_means(samples, size);
  const double middle = mean(blocks);
  for (double& block : blocks)
    block -= middle;
  return blocks;
}

struct Scatter {
  double variance_of_mean;
  std::size_t window;  // W, in blocks
};

// Wolff's automatic window over the deviations of block means.
Scatter scatter_of(std::span<const double> blocks) {
  constexpr double truncation_over_statistics = 1.5;  // Wolff's S
  const auto n = static_cast<double>(blocks.size());
  const double variance = covariance_at(blocks, blocks, 0);
  if (variance == 0.0) return {0.0, 1};
  double tau = 0.5;
  std::size_t window = 1;
  for (; window < blocks.size() / 2; ++window) {
    tau += covariance_at(blocks, blocks, window) / variance;
    if (tau <= 0.5) break;
    const double decay =
        truncation_over_statistics / std::log((2.0 * tau + 1.0) / (2.0 * tau - 1.0));
    const auto lag = static_cast<double>(window);
    if (std::exp(-lag / decay) < decay / std::sqrt(lag * n)) break;
  }
  const double bias = 1.0 + (2.0 * static_cast<double>(window) + 1.0) / n;
  return {variance * std::max(1.0, 2.0 * tau) * bias / n, window};
}

double degrees_of_freedom(std::size_t blocks, std::size_t window) {
  const double lags = 2.0 * static_cast<double>(window) + 1.0;
  return std::max(1.0, static_cast<double>(blocks) / lags);
}

}  // namespace

double mean(std::span<const double> samples) {
  require_samples(samples, 1, "mean");
  const auto n = static_cast<double>(samples.size());
  double about = samples.front();
  for (int pass = 0; pass < 2; ++pass) {
    double sum = 0.0;
    for (const double sample : samples)
      sum += sample - about;
    about += sum / n;
  }
  return about;
}

double variance(std::span<const double> samples) {
  require_samples(samples, 2, "variance");
  const double middle = mean(samples);
  double squares = 0.0;
  double sum = 0.0;  // 0 but for rounding of the mean, whose effect it takes away
  for (const double sample : samples) {
    squares += (sample - middle) * (sample - middle);
    sum += sample - middle;
  }
  const auto n = static_cast<double>(samples.size());
  return (squares - sum * sum / n) / (n - 1.0);
}

double autocorrelation(std::span<const double> samples, std::size_t lag) {
  require_samples(samples, lag + 1, "autocorrelation");
  const double middle = mean(samples);
  std::vector<double> rest(samples.begin(), samples.end());
  for (double& sample : rest)
    sample -= middle;
  const double all = covariance_at(rest, rest, 0);
  return all == 0.0 ? 0.0 : covariance_at(rest, rest, lag) / all;
}

std::vector<double> block_means(std::span<const double> samples, std::size_t size) {
  std::vector<double> means;
  if (size == 0) return means;
  means.reserve(samples.size() / size);
  for (std::size_t at = 0; at + size <= samples.size(); at += size) {
    means.push_back(mean(samples.subspan(at, size)));
  }
  return means;
}

CorrelatedMean mean_of_correlated(std::span<const double> samples) {
  require_samples(samples, 2, "mean of correlated samples");
  const auto n = static_cast<double>(samples.size());
  const std::vector<double> blocks = deviations(samples);
  const Scatter scatter = scatter_of(blocks);
  CorrelatedMean result{.mean = mean(samples), .u = 0.0, .dof = n - 1.0, .effective_samples = n};
  if (scatter.variance_of_mean == 0.0) return result;
  result.u = std::sqrt(scatter.variance_of_mean);
  result.dof = degrees_of_freedom(blocks.size(), scatter.window);
  result.effective_samples = std::clamp(variance(samples) / scatter.variance_of_mean, 1.0, n);
  return result;
}

CorrelatedMean mean_of_independent(std::span<const double> samples) {
  require_samples(samples, 2, "mean of independent samples");
  const auto n = static_cast<double>(samples.size());
  return {.mean = mean(samples),
          .u = std::sqrt(variance(samples) / n),
          .dof = n - 1.0,
          .effective_samples = n};
}

SeriesMeans means_of_correlated(std::span<const std::span<const double>> series) {
  const std::size_t k = series.size();
  if (k == 0) throw base::BadInput("means of correlated series", "no series", "at least one");
  SeriesMeans result{.means = {}, .covariance = std::vector<double>(k * k), .dof = 0.0};
  std::vector<std::vector<double>> blocks;
  std::vector<double> variances;
  std::size_t window = 1;
  for (const std::span<const double> samples : series) {
    require_samples(samples, 2, "means of correlated series");
    if (samples.size() != series.front().size()) {
      throw base::BadInput("means of correlated series",
                           fmt::format("{} and {} samples", series.front().size(), samples.size()),
                           "series of the same length");
    }
    result.means.push_back(mean(samples));
    blocks.push_back(deviations(samples));
    const Scatter scatter = scatter_of(blocks.back());
    variances.push_back(scatter.variance_of_mean);
    window = std::max(window, scatter.window);
  }
  const std::size_t lags =
      std::min(std::max(2 * window + 1, fewest_lags_between_series), blocks.front().size());
  const auto long_term = [&](std::size_t i, std::size_t j) {
    double sum = covariance_at(blocks[i], blocks[j], 0);
    for (std::size_t lag = 1; lag < lags; ++lag) {
      const double weight = 1.0 - static_cast<double>(lag) / static_cast<double>(lags);
      sum += weight *
             (covariance_at(blocks[i], blocks[j], lag) + covariance_at(blocks[j], blocks[i], lag));
    }
    return sum;
  };
  std::vector<double> own(k);
  for (std::size_t i = 0; i < k; ++i)
    own[i] = long_term(i, i);
  for (std::size_t i = 0; i < k; ++i) {
    result.covariance[i * k + i] = variances[i];
    for (std::size_t j = 0; j < i; ++j) {
      const double scale = std::sqrt(own[i] * own[j]);
      const double coefficient = scale > 0.0 ? std::clamp(long_term(i, j) / scale, -1.0, 1.0) : 0.0;
      const double covariance = coefficient * std::sqrt(variances[i] * variances[j]);
      result.covariance[i * k + j] = covariance;
      result.covariance[j * k + i] = covariance;
    }
  }
  // A triangular window leaves one and a half times the degrees of freedom of its length.
  result.dof = std::min(
      degrees_of_freedom(blocks.front().size(), window),
      std::max(1.0, 1.5 * static_cast<double>(blocks.front().size()) / static_cast<double>(lags)));
  return result;
}

}  // namespace windwright::signal
