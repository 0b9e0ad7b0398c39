// SPDX-License-Identifier: Apache-2.0
#include "signal/harmonic_groups.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <numeric>
#include <span>
#include <vector>

namespace windwright::signal {

namespace {

double sum(std::span<const double> squares, std::size_t from, std::size_t to) {
  return std::accumulate(squares.begin() + static_cast<std::ptrdiff_t>(from),
                         squares.begin() + static_cast<std::ptrdiff_t>(to) + 1, 0.0);
}

}  // namespace

std::vector<HarmonicGroup> harmonic_groups(std::span<const double> squares, int cycles) {
  if (cycles < 6 || cycles % 2 != 0) {
    throw base::BadInput("harmonic groups", fmt::format("{} cycles a window", cycles),
                         "an even number, 6 or more");
  }
  const auto n = static_cast<std::size_t>(cycles);
  const std::size_t half = n / 2;
  if (squares.size() < n) {
    throw base::BadInput("harmonic groups", fmt::format("{} lines", squares.size()),
                         fmt::format("at least {}", n));
  }
  const double mean = std::sqrt(squares[0]);
  std::vector<HarmonicGroup> orders{{.harmonic = mean,
                                     .group = mean,
                                     .subgroup = mean,
                                     .interharmonic_subgroup = std::sqrt(sum(squares, 2, n - 2))}};
  for (std::size_t k = n; k + half < squares.size(); k += n) {
    const bool next = k + n - 2 < squares.size();
    orders.push_back({.harmonic = std::sqrt(squares[k]),
                      .group = std::sqrt(sum(squares, k - half + 1, k + half - 1) +
                                         0.5 * (squares[k - half] + squares[k + half])),
                      .subgroup = std::sqrt(sum(squares, k - 1, k + 1)),
                      .interharmonic_subgroup =
                          std::sqrt(sum(squares, k + 2, next ? k + n - 2 : squares.size() - 1))});
  }
  return orders;
}

Distortion distortion(std::span<const HarmonicGroup> orders) {
  if (orders.size() < 2 || orders[1].harmonic <= 0.0) {
    throw base::BadInput("distortion", "has no first order to refer to",
                         "orders 0, 1, ... with something at 1");
  }
  Distortion squares{.thd = 0.0, .thdg = 0.0, .thds = 0.0};
  for (const HarmonicGroup& order : orders.subspan(2)) {
    squares.thd += order.harmonic * order.harmonic;
    squares.thdg += order.group * order.group;
    squares.thds += order.subgroup * order.subgroup;
  }
  return {.thd = std::sqrt(squares.thd) / orders[1].harmonic,
          .thdg = std::sqrt(squares.thdg) / orders[1].group,
          .thds = std::sqrt(squares.thds) / orders[1].subgroup};
}

}  // namespace windwright::signal
