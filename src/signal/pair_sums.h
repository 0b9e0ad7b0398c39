// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>

namespace windwright::signal {

/// Sums over samples of voltage v and current i taken together, each sample with its weight.
struct PairSums {
  double weight = 0.0;
  double v = 0.0;
  double i = 0.0;
  double v_squared = 0.0;
  double i_squared = 0.0;
  double v_i = 0.0;
  double v_size = 0.0;  // of |v|
  double i_size = 0.0;
};

/// Adds samples of weight 1. The same bits on every machine: eight partial sums whatever the width
/// of its vectors, and no fused products.
/// @param v, i  of the same length
void add(std::span<const double> v, std::span<const double> i, PairSums& sums);
/// Adds samples with a weight each.
void add(std::span<const double> v, std::span<const double> i, std::span<const double> weights,
         PairSums& sums);

/// Least and largest of samples.
struct Extremes {
  double least;
  double largest;
};
/// @param samples  at least one
Extremes extremes_of(std::span<const double> samples);

/// Filters and thins out: outputs k = sum over j of taps[j] v[k step + j], the same for i.
/// @param taps  (a multiple of 8)
/// @param from  v and i, at least (outputs - 1) step + taps samples each
/// @param to    the outputs, as many of both
void filter_pair(std::span<const double> taps, std::size_t step,
                 std::span<const std::span<const double>, 2> from,
                 std::span<const std::span<double>, 2> to);

}  // namespace windwright::signal
