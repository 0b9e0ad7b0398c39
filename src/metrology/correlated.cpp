// SPDX-License-Identifier: Apache-2.0
#include "metrology/correlated.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::metrology {

std::vector<double> decorrelated(std::span<const double> covariance, std::size_t size) {
  constexpr double rounding = 1e-14;  // of a variance: what is left below is no variance
  std::vector<double> lower(size * size, 0.0);
  for (std::size_t column = 0; column < size; ++column) {
    double rest = covariance[column * size + column];
    for (std::size_t k = 0; k < column; ++k) {
      rest -= lower[column * size + k] * lower[column * size + k];
    }
    if (rest <= rounding * covariance[column * size + column]) continue;
    const double root = std::sqrt(rest);
    for (std::size_t row = column; row < size; ++row) {
      double sum = covariance[row * size + column];
      for (std::size_t k = 0; k < column; ++k) {
        sum -= lower[row * size + k] * lower[column * size + k];
      }
      lower[row * size + column] = sum / root;
    }
  }
  return lower;
}

std::vector<Estimate> estimates_of(const CorrelatedValues& values, std::string_view prefix,
                                   std::string_view suffix) {
  const std::size_t size = values.values.size();
  const std::vector<double> lower = decorrelated(values.covariance, size);
  std::vector<Estimate> estimates;
  for (std::size_t i = 0; i < size; ++i) {
    Estimate estimate(values.values[i]);
    for (std::size_t k = 0; k <= i; ++k) {
      const double u = lower[i * size + k];
      if (u != 0.0) estimate.add(fmt::format("{}-{}{}", prefix, k, suffix), {u, values.dof});
    }
    estimates.push_back(std::move(estimate));
  }
  return estimates;
}

}  // namespace windwright::metrology
