// SPDX-License-Identifier: Apache-2.0
#include "exchange/count_grid.h"

#include "bench/bench.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <vector>

namespace windwright::exchange {

namespace {

constexpr int fewest_bits = 8;
constexpr int most_bits = 31;
constexpr double off_grid = 1e-3;  // of a step: values that are that far off lie on no grid

// The greatest step that all sorted values are whole multiples of, counted from the first; nothing
// where rounding leaves none.
std::optional<double> common_step(std::span<const double> sorted) {
  const double size = std::max(std::abs(sorted.front()), std::abs(sorted.back()));
  // What is smaller is what doubles cannot tell apart after a few operations.
  const double noise = 16.0 * std::numeric_limits<double>::epsilon() * size;
  double step = 0.0;
  for (std::size_t i = 1; i < sorted.size(); ++i) {
    double rest = sorted[i] - sorted[i - 1];
    if (rest <= noise) continue;
    if (step == 0.0) {
      step = rest;
      continue;
    }
    // What is left of it in steps; nothing, up to what rounding makes.
    rest = std::abs(rest - std::round(rest / step) * step);
    while (rest > std::max(noise, off_grid * step)) {
      const double next = std::abs(step - std::round(step / rest) * rest);
      step = rest;
      rest = next;
    }
    if (step <= noise / off_grid) return std::nullopt;
  }
  return step;
}

/// value = (count - offset) / counts_per_unit.
struct Scale {
  double offset;
  double counts_per_unit;
};

// Of a step like 0.001 or 0.003 a whole number of counts in one, 1000, where zero is a count too.
// Else what it is, from the lowest value on.
Scale scale_of(double lowest, double step, double steps) {
  constexpr int finest = 1000;
  constexpr double same = 1e-9;
  for (int parts = 1; parts <= finest && steps * parts < std::ldexp(1.0, most_bits); ++parts) {
    const double whole = std::round(parts / step);
    const double first = std::round(lowest * whole);
    if (whole >= 1.0 && std::abs(parts / step - whole) <= same * whole &&
        std::abs(lowest * whole - first) <= off_grid)
      return {.offset = -first, .counts_per_unit = whole};
  }
  return {.offset = -lowest / step, .counts_per_unit = 1.0 / step};
}

CountGrid counted(std::span<const double> values, double range, const Scale& scale) {
  const double steps = std::round(range * scale.counts_per_unit);
  const int bits = std::max(fewest_bits, static_cast<int>(std::floor(std::log2(steps + 0.5))) + 1);
  CountGrid grid{
      .converter = {.lower_V = -0.5, .upper_V = std::ldexp(1.0, bits) - 0.5, .bits = bits},
      .counts = {},
      .offset = scale.offset,
      .counts_per_unit = scale.counts_per_unit,
      .largest_difference = 0.0};
  for (const double value : values) {
    const double count =
        std::clamp(std::round(value * scale.counts_per_unit + scale.offset), 0.0, steps);
    grid.counts.push_back(static_cast<std::int32_t>(count));
    grid.largest_difference =
        std::max(grid.largest_difference, std::abs(grid.value(count) - value));
  }
  return grid;
}

}  // namespace

CountGrid count_grid(std::span<const double> values) {
  std::vector<double> sorted(values.begin(), values.end());
  std::sort(sorted.begin(), sorted.end());
  const double lowest = sorted.front();
  const double range = sorted.back() - lowest;
  if (range == 0.0) return counted(values, range, {.offset = -lowest, .counts_per_unit = 1.0});
  if (const auto found = common_step(sorted); found && *found > 0.0) {
    const double steps = std::round(range / *found);
    if (steps < std::ldexp(1.0, most_bits)) {
      // The whole range knows the step better than the difference that it was found in.
      CountGrid grid = counted(values, range, scale_of(lowest, range / steps, steps));
      if (grid.largest_difference <= off_grid / grid.counts_per_unit) return grid;
    }
  }
  const double counts_per_unit = (std::ldexp(1.0, most_bits) - 1.0) / range;
  return counted(values, range,
                 {.offset = -lowest * counts_per_unit, .counts_per_unit = counts_per_unit});
}

}  // namespace windwright::exchange
