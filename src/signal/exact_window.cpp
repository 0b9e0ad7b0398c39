// SPDX-License-Identifier: Apache-2.0
#include "signal/exact_window.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <numeric>
#include <vector>

namespace windwright::signal {

namespace {

constexpr double pi = std::numbers::pi;

// Integral of the bell from its begin at u = -1/2 to u, and 1 beyond its end.
double risen(double u) {
  if (u <= -0.5) return 0.0;
  if (u >= 0.5) return 1.0;
  constexpr double a0 = 0.355768, a1 = 0.487396, a2 = 0.144232, a3 = 0.012604;
  return 0.5 + u +
         (a1 / a0 * std::sin(2.0 * pi * u) + a2 / a0 / 2.0 * std::sin(4.0 * pi * u) +
          a3 / a0 / 3.0 * std::sin(6.0 * pi * u)) /
             (2.0 * pi);
}

double step(double n, double at, double ramp) {
  if (ramp > 0.0) return risen((n - at) / ramp);
  return n < at ? 0.0 : 1.0;
}

}  // namespace

ExactWindow::ExactWindow(double begin, double end, double ramp) {
  const auto sample_from = [](double at) {
    return static_cast<std::size_t>(std::max(0.0, std::ceil(at)));
  };
  const double half = 0.5 * ramp;
  first_ = sample_from(begin - half);
  const std::size_t last = std::max(first_, sample_from(end + half));  // one beyond
  size_ = last - first_;
  const std::size_t lead_end = std::min(last, sample_from(begin + half));
  const std::size_t tail_begin = std::max(lead_end, sample_from(end - half));
  const auto weight = [&](std::size_t n) {
    const auto at = static_cast<double>(n);
    return step(at, begin, ramp) - step(at, end, ramp);
  };
  for (std::size_t n = first_; n < lead_end; ++n)
    lead_.push_back(weight(n));
  for (std::size_t n = tail_begin; n < last; ++n)
    tail_.push_back(weight(n));
  sum_ = std::accumulate(lead_.begin(), lead_.end(), 0.0) +
         static_cast<double>(size_ - lead_.size() - tail_.size()) +
         std::accumulate(tail_.begin(), tail_.end(), 0.0);
}

}  // namespace windwright::signal
