// SPDX-License-Identifier: Apache-2.0
#include "metrology/robust.h"

#include "base/errors.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

std::vector<double> distances(std::span<const double> values, double from) {
  std::vector<double> sizes;
  for (const double value : values)
    sizes.push_back(std::abs(value - from));
  return sizes;
}

double starting_deviation(std::span<const double> values, double middle) {
  constexpr double from_median_deviation = 1.483;
  constexpr double from_mean_deviation = 1.253;  // sqrt(pi / 2), for a normal sample
  const std::vector<double> sizes = distances(values, middle);
  const double from_median = from_median_deviation * median(sizes);
  return from_median > 0.0 ? from_median : from_mean_deviation * signal::mean(sizes);
}

}  // namespace

double median(std::span<const double> values) {
  if (values.empty()) throw base::BadInput("median", "has no values", "at least one");
  std::vector<double> order(values.begin(), values.end());
  const auto half = order.begin() + static_cast<std::ptrdiff_t>(order.size() / 2);
  std::nth_element(order.begin(), half, order.end());
  if (order.size() % 2 == 1) return *half;
  return 0.5 * (*half + *std::max_element(order.begin(), half));
}

RobustMean algorithm_a(std::span<const double> values) {
  if (values.size() < 3) {
    throw base::BadInput("robust mean", fmt::format("has {} values", values.size()), "at least 3");
  }
  if (!std::all_of(values.begin(), values.end(), [](double each) { return std::isfinite(each); })) {
    throw base::BadInput("robust mean", "a value is not finite", "finite numbers");
  }
  constexpr double reach = 1.5;
  constexpr double of_drawn_in = 1.134;
  constexpr int most_steps = 1000;
  constexpr double kept = 1e-10;
  RobustMean result{
      .mean = median(values), .standard_deviation = 0.0, .u = 0.0, .steps = 0, .converged = false};
  result.standard_deviation = starting_deviation(values, result.mean);
  std::vector<double> drawn_in(values.size());
  while (!result.converged && result.steps < most_steps) {
    const double delta = reach * result.standard_deviation;
    for (std::size_t i = 0; i < values.size(); ++i)
      drawn_in[i] = std::clamp(values[i], result.mean - delta, result.mean + delta);
    const double mean = signal::mean(drawn_in);
    const double deviation = of_drawn_in * std::sqrt(signal::variance(drawn_in));
    result.converged = std::abs(mean - result.mean) <= kept * deviation &&
                       std::abs(deviation - result.standard_deviation) <= kept * deviation;
    result.mean = mean;
    result.standard_deviation = deviation;
    ++result.steps;
  }
  result.u = 1.25 * result.standard_deviation / std::sqrt(static_cast<double>(values.size()));
  return result;
}

}  // namespace windwright::metrology
