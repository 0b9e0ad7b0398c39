// SPDX-License-Identifier: Apache-2.0
#include "metrology/chebyshev.h"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace windwright::metrology {

using Eigen::Index;

Interval::Interval(std::span<const double> references) : middle(0), half(1) {
  const Eigen::Map<const Eigen::ArrayXd> all(references.data(),
                                             static_cast<Index>(references.size()));
  const Extended low = all.minCoeff();
  const Extended high = all.maxCoeff();
  middle = static_cast<double>((low + high) / 2);
  half = static_cast<double>((high - low) / 2);
}

ExtendedMatrix chebyshev(const Interval& interval, const ExtendedVector& references, int degree) {
  ExtendedMatrix basis(references.size(), degree + 1);
  for (Index i = 0; i < references.size(); ++i) {
    const Extended t = interval.inside(references[i]);
    basis(i, 0) = 1;
    if (degree > 0) basis(i, 1) = t;
    for (Index k = 2; k <= degree; ++k)
      basis(i, k) = 2 * t * basis(i, k - 1) - basis(i, k - 2);
  }
  return basis;
}

ExtendedMatrix powers_of_chebyshev(const Interval& interval, int degree) {
  ExtendedMatrix powers = ExtendedMatrix::Zero(degree + 1, degree + 1);
  powers(0, 0) = 1;
  const Extended slope = 1 / interval.half;
  const Extended offset = -interval.middle / interval.half;
  if (degree > 0) {
    powers(0, 1) = offset;
    powers(1, 1) = slope;
  }
  for (Index k = 2; k <= degree; ++k) {
    for (Index j = 0; j <= k; ++j) {
      powers(j, k) = 2 * offset * powers(j, k - 1) - powers(j, k - 2);
      if (j > 0) powers(j, k) += 2 * slope * powers(j - 1, k - 1);
    }
  }
  return powers;
}

ExtendedMatrix scaled_powers_of_chebyshev(int degree) {
  constexpr double ends[] = {-1.0, 1.0};
  return powers_of_chebyshev(Interval(ends), degree);
}

namespace {

// Readings are taken in blocks that stay in the nearest cache.
constexpr Index block_size = 256;
using Block = Eigen::Array<double, Eigen::Dynamic, 1, 0, block_size, 1>;
using Sums = Eigen::ArrayXd;

struct Columns {
  std::span<const double> reference;
  std::span<const double> reading;
  std::span<const double> weight;
  double middle;
  double per_half;

  template <typename Use>
  void for_each_block(const Use& use) const {
    const auto n = static_cast<Index>(reference.size());
    for (Index from = 0; from < n; from += block_size) {
      const Index size = std::min(block_size, n - from);
      const auto part = [&](std::span<const double> all) {
        return Eigen::Map<const Eigen::ArrayXd>(all.data() + from, size);
      };
      const Block t = (part(reference) - middle) * per_half;
      if (weight.empty()) {
        use(t, part(reading), Block(Block::Ones(size)));
      } else {
        use(t, part(reading), part(weight));
      }
    }
  }
};

// Calls use(k, T_k) for k from 0 to highest.
template <typename Use>
void for_each_polynomial(const Block& t, Index highest, const Use& use) {
  Block even = Block::Ones(t.size());
  use(Index{0}, even);
  if (highest < 1) return;
  Block odd = t;
  use(Index{1}, odd);
  const Block twice = 2.0 * t;
  for (Index k = 2; k <= highest; ++k) {
    Block& now = k % 2 == 0 ? even : odd;
    now = twice * (k % 2 == 0 ? odd : even) - now;
    use(k, now);
  }
}

Block residuals(const Sums& coefficients, const Block& t, const auto& y) {
  Block rest = y;
  for_each_polynomial(t, coefficients.size() - 1, [&](Index k, const Block& polynomial) {
    rest -= coefficients[k] * polynomial;
  });
  return rest;
}

}  // namespace

std::optional<SummedFit> fit_by_sums(std::span<const double> reference,
                                     std::span<const double> reading,
                                     std::span<const double> weight, int degree) {
  const Interval interval(reference);
  const Columns columns{.reference = reference,
                        .reading = reading,
                        .weight = weight,
                        .middle = static_cast<double>(interval.middle),
                        .per_half = static_cast<double>(1 / interval.half)};
  const Index size = degree + 1;
  Sums of_weights = Sums::Zero(2 * size - 1);
  Sums of_readings = Sums::Zero(size);
  columns.for_each_block([&](const Block& t, const auto& y, const auto& w) {
    const Block weighted = w * y;
    for_each_polynomial(t, 2 * size - 2, [&](Index k, const Block& polynomial) {
      of_weights[k] += (w * polynomial).sum();
      if (k < size) of_readings[k] += (weighted * polynomial).sum();
    });
  });
  ExtendedMatrix normal(size, size);
  for (Index j = 0; j < size; ++j) {
    for (Index k = 0; k < size; ++k)
      normal(j, k) = (Extended(of_weights[j + k]) + Extended(of_weights[std::abs(j - k)])) / 2;
  }
  const Eigen::LDLT<ExtendedMatrix> factors(normal);
  const ExtendedMatrix inverse = factors.solve(ExtendedMatrix::Identity(size, size));
  constexpr double highest_condition = 1e4;
  if (!(normal.norm() * inverse.norm() < highest_condition)) return std::nullopt;

  Sums coefficients = (inverse * of_readings.matrix().cast<Extended>()).cast<double>();
  Sums of_residuals = Sums::Zero(size);
  columns.for_each_block([&](const Block& t, const auto& y, const auto& w) {
    const Block weighted = w * residuals(coefficients, t, y);
    for_each_polynomial(t, size - 1, [&](Index k, const Block& polynomial) {
      of_residuals[k] += (weighted * polynomial).sum();
    });
  });
  const ExtendedVector corrected =
      coefficients.matrix().cast<Extended>() + inverse * of_residuals.matrix().cast<Extended>();
  coefficients = corrected.cast<double>();

  SummedFit fit{.coefficients = {},
                .covariance = {},
                .scaled_coefficients = {},
                .scaled_covariance = {},
                .sum_of_squares = 0.0,
                .weighted_sum_of_squares = 0.0,
                .weighted_total = 0.0};
  const double mean = of_readings[0] / of_weights[0];
  columns.for_each_block([&](const Block& t, const auto& y, const auto& w) {
    const Block squares = residuals(coefficients, t, y).square();
    fit.sum_of_squares += squares.sum();
    fit.weighted_sum_of_squares += (w * squares).sum();
    fit.weighted_total += (w * (y - mean).square()).sum();
  });
  const ExtendedMatrix powers = powers_of_chebyshev(interval, degree);
  fit.coefficients = powers * corrected;
  fit.covariance = powers * inverse * powers.transpose();
  const ExtendedMatrix scaled = scaled_powers_of_chebyshev(degree);
  fit.scaled_coefficients = scaled * corrected;
  fit.scaled_covariance = scaled * inverse * scaled.transpose();
  return fit;
}

}  // namespace windwright::metrology
