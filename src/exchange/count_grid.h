// SPDX-License-Identifier: Apache-2.0
// Inside the exchange module only.
#pragma once

#include "bench/bench.h"

#include <cstdint>
#include <span>
#include <vector>

namespace windwright::exchange {

/// Values as counts of a converter that is made for them, one volt a count:
/// value = (count - offset) / counts_per_unit.
struct CountGrid {
  bench::Converter converter;
  std::vector<std::int32_t> counts;
  double offset;
  double counts_per_unit;
  double largest_difference;  // between a value and that of its count

  double value(double count) const { return (count - offset) / counts_per_unit; }
};

/// Finds the coarsest even grid that all values lie on: decimals of so many places, or the steps of
/// the converter that they once came through; up to 2^31 counts. Steps that are a part of one are
/// kept as that whole number of counts, so that decimals come back as the same doubles. Where there
/// is no grid, as through a curved calibration, there are 2^31 counts over the range.
/// Approximate greatest common divisor of the differences, by Euclid's algorithm.
/// @param values  at least one, finite
CountGrid count_grid(std::span<const double> values);

}  // namespace windwright::exchange
