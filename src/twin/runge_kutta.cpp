// SPDX-License-Identifier: Apache-2.0
#include "twin/runge_kutta.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <stdexcept>
#include <utility>

namespace windwright::twin {

namespace {

constexpr std::array<double, 7> nodes{0.0, 1.0 / 5.0, 3.0 / 10.0, 4.0 / 5.0, 8.0 / 9.0, 1.0, 1.0};
constexpr std::array<std::array<double, 6>, 7> weights{
    {{},
     {1.0 / 5.0},
     {3.0 / 40.0, 9.0 / 40.0},
     {44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0},
     {19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0},
     {9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0},
     {35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0}}};
// Fifth order less fourth.
constexpr std::array<double, 7> errors{
    71.0 / 57600.0,      0.0,          -71.0 / 16695.0, 71.0 / 1920.0,
    -17253.0 / 339200.0, 22.0 / 525.0, -1.0 / 40.0};

}  // namespace

RungeKutta::RungeKutta(void* model, Rates rates, std::span<const double> absolute_tolerances,
                       double relative_tolerance, std::size_t sums)
    : model_(model),
      rates_(rates),
      tolerances_(absolute_tolerances.begin(), absolute_tolerances.end()),
      relative_tolerance_(relative_tolerance),
      sums_(sums),
      next_(absolute_tolerances.size()) {
  for (std::size_t i = 0; i < stages; ++i) {
    slopes_[i].resize(absolute_tolerances.size());
    sum_slopes_[i].resize(sums);
  }
}

// Fills next_ and the slopes from the second on. @return  the largest error over its tolerance
double RungeKutta::tried_step(double t, double h, std::span<const double> y) {
  const std::size_t n = y.size();
  for (std::size_t stage = 1; stage < stages; ++stage) {
    for (std::size_t i = 0; i < n; ++i) {
      double sum = 0.0;
      for (std::size_t k = 0; k < stage; ++k)
        sum += weights[stage][k] * slopes_[k][i];
      next_[i] = y[i] + h * sum;
    }
    rates_(model_, t + nodes[stage] * h, next_, slopes_[stage], sum_slopes_[stage]);
  }
  ++steps_;
  double worst = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    double error = 0.0;
    for (std::size_t k = 0; k < stages; ++k)
      error += errors[k] * slopes_[k][i];
    const double size = std::max(std::abs(y[i]), std::abs(next_[i]));
    worst = std::max(worst, std::abs(h * error) / (tolerances_[i] + relative_tolerance_ * size));
  }
  return worst;
}

void RungeKutta::integrate(double from_s, double to_s, double& step_s, std::span<double> y,
                           std::span<double> sums) {
  const double length_s = to_s - from_s;
  if (!(length_s > 0.0)) return;
  double t = from_s;
  rates_(model_, t, y, slopes_[0], sum_slopes_[0]);
  bool rejected = false;
  for (bool last = false; !last;) {
    // The rest in equal steps, so that none is left over small.
    const double parts = std::ceil((to_s - t) / step_s * (1.0 - 1e-12));
    const double h = (to_s - t) / std::max(1.0, parts);
    last = !(parts > 1.0);
    const double worst = tried_step(t, h, y);
    const double factor = std::clamp(0.9 * std::pow(std::max(worst, 1e-10), -0.2), 0.2, 5.0);
    if (!(worst <= 1.0)) {
      step_s = h * (std::isfinite(worst) ? factor : 0.2);
      rejected = true;
      last = false;
      if (step_s < 1e-12 * length_s) throw std::runtime_error("Runge-Kutta: the step vanishes");
      continue;
    }
    for (std::size_t i = 0; i < sums_; ++i) {
      double sum = 0.0;
      for (std::size_t k = 0; k < 6; ++k)
        sum += weights[6][k] * sum_slopes_[k][i];
      sums[i] += h * sum;
    }
    std::copy(next_.begin(), next_.end(), y.begin());
    t += h;
    // A step that was only cut to fit says nothing against a longer one.
    const double wanted_s = h * (rejected ? std::min(1.0, factor) : factor);
    step_s = last ? std::max(wanted_s, worst < 0.5 ? step_s : 0.0) : wanted_s;
    rejected = false;
    std::swap(slopes_[0], slopes_[6]);  // the last stage is the next step's first
    std::swap(sum_slopes_[0], sum_slopes_[6]);
  }
}

}  // namespace windwright::twin
