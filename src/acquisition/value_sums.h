// SPDX-License-Identifier: Apache-2.0
// Inside the acquisition module only: what is done with every sample.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace windwright::acquisition {

/// Of samples v_j: sums of their distances from the first, so that little is lost where a large
/// value hardly varies.
struct ValueSums {
  double origin = 0.0;
  double sum = 0.0;      // of v_j - origin
  double squares = 0.0;  // of (v_j - origin)^2
  float lowest = 0.0F;
  float highest = 0.0F;
};

/// t = scale count + shift; from -1 to 1 the value is the sum of factors[k] t^k over k up to
/// degree, beyond it goes on straight.
struct Powers {
  float scale;
  float shift;
  std::size_t degree;  // 1 to 7
  std::array<float, 8> factors;
  float slope_below;  // per t
  float slope_above;
};

/// @param values  as many as counts, at least one
ValueSums values_of_powers(std::span<const std::int32_t> counts, const Powers& law, float* values);
/// @param table  of the value of every count; counts beyond it take its ends
ValueSums looked_up_values(std::span<const std::int32_t> counts, std::span<const float> table,
                           float* values);
/// Products of two channels, sample by sample.
ValueSums products(std::span<const float> a, std::span<const float> b, float* values);

}  // namespace windwright::acquisition
