// SPDX-License-Identifier: Apache-2.0
#include "metrology/output_landscape.h"

#include "metrology/program.h"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace windwright::metrology {

std::vector<bool> steps_behind(const Program& program, std::uint32_t step) {
  std::vector<bool> behind(program.steps.size(), false);
  behind[step] = true;
  for (std::uint32_t i = step + 1; i-- > 0;) {
    if (!behind[i]) continue;
    const Step& each = program.steps[i];
    if (is_unary(each.operation) || is_binary(each.operation)) behind[each.a] = true;
    if (is_binary(each.operation)) behind[each.b] = true;
  }
  return behind;
}

std::vector<Divisor> divisors_of(const Program& program, std::uint32_t output) {
  const std::vector<bool> behind = steps_behind(program, output);
  std::vector<Divisor> divisors;
  for (std::uint32_t i = 0; i < program.steps.size(); ++i) {
    if (!behind[i]) continue;
    const Step& step = program.steps[i];
    if (step.operation == Operation::divide) divisors.push_back({.step = step.b});
    const bool negative_power = step.operation == Operation::whole_power && step.number < 0.0;
    if (negative_power || step.operation == Operation::power) divisors.push_back({.step = step.a});
    if (step.operation == Operation::tangent) divisors.push_back({.step = step.a, .cosine = true});
  }
  return divisors;
}

double length_of(std::span<const double> direction) {
  double squares = 0.0;
  for (const double part : direction)
    squares += part * part;
  return std::sqrt(squares);
}

std::vector<double> moved_along(std::span<const double> at, std::span<const double> direction,
                                double distance) {
  std::vector<double> there(at.begin(), at.end());
  for (std::size_t i = 0; i < there.size(); ++i)
    there[i] += distance * direction[i];
  return there;
}

std::vector<double> OutputLandscape::steps(std::span<const double> at) const {
  return values_of(model_.program, reach_.inputs(at));
}

double OutputLandscape::value(const Divisor& divisor, std::span<const double> steps) {
  return divisor.cosine ? std::cos(steps[divisor.step]) : steps[divisor.step];
}

std::vector<double> OutputLandscape::divisor_slopes(const Divisor& divisor,
                                                    const std::vector<double>& at,
                                                    double step) const {
  return slopes([&](const std::vector<double>& there) { return value(divisor, steps(there)); }, at,
                step);
}

// Without what leads out of reach or along the fixed direction.
std::vector<double> OutputLandscape::free_slopes(const Divisor& divisor, const Descent& here,
                                                 double step, std::span<const double> fixed) const {
  std::vector<double> slope =
      slopes([&](const std::vector<double>& at) { return std::abs(value(divisor, steps(at))); },
             here.at, step);
  double along = 0.0;
  for (std::size_t i = 0; i < fixed.size(); ++i)
    along += slope[i] * fixed[i];
  if (!fixed.empty()) slope = moved_along(slope, fixed, -along);
  for (std::size_t i = 0; i < slope.size(); ++i) {
    const double side = slope[i] < 0.0 ? 1.0 : -1.0;
    if (reach_.at_limit(i, here.at, side)) slope[i] = 0.0;
  }
  return slope;
}

bool OutputLandscape::stepped_down(const Divisor& divisor, Descent& here,
                                   const std::vector<double>& way) const {
  constexpr double enough = 0.95;
  for (double part = 1.0; part > 0.1; part *= 0.5) {
    std::vector<double> next = reach_.within(moved_along(here.at, way, part));
    const double left = std::abs(value(divisor, steps(next)));
    if (!(left < enough * here.left)) continue;
    here = {.at = std::move(next), .left = left};
    return true;
  }
  return false;
}

// D^p has the slopes g and the curvature H + (p - 1) g g^T / D, but for a common factor.
bool OutputLandscape::curved_down(const Divisor& divisor, Descent& here, double step,
                                  std::span<const double> fixed) const {
  const auto size = static_cast<Eigen::Index>(here.at.size());
  const std::vector<double> slope = free_slopes(divisor, here, step, fixed);
  Eigen::MatrixXd curvature(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    Descent beside = here;
    beside.at[static_cast<std::size_t>(i)] += step;
    const std::vector<double> above = free_slopes(divisor, beside, step, fixed);
    beside.at[static_cast<std::size_t>(i)] -= 2.0 * step;
    const std::vector<double> below = free_slopes(divisor, beside, step, fixed);
    for (Eigen::Index j = 0; j < size; ++j) {
      const auto at = static_cast<std::size_t>(j);
      curvature(j, i) = (above[at] - below[at]) / (2.0 * step);
    }
  }
  const Eigen::Map<const Eigen::VectorXd> g(slope.data(), size);
  for (const double power : {1.0, 2.0}) {
    const Eigen::MatrixXd whole = curvature + (power - 1.0) / here.left * g * g.transpose();
    if (!whole.allFinite()) continue;
    Eigen::VectorXd way = -whole.completeOrthogonalDecomposition().solve(g);
    if (!fixed.empty()) {
      const Eigen::Map<const Eigen::VectorXd> kept(fixed.data(), size);
      way -= way.dot(kept) * kept;
    }
    Descent next = here;
    if (stepped_down(divisor, next, {way.begin(), way.end()}) && next.left < 0.5 * here.left) {
      here = std::move(next);
      return true;
    }
  }
  return false;
}

Descent OutputLandscape::descent(const Divisor& divisor, std::vector<double> from,
                                 std::span<const double> fixed) const {
  Descent here{.at = reach_.within(std::move(from)), .left = 0.0};
  here.left = std::abs(value(divisor, steps(here.at)));
  double last = 0.01;
  for (int step = 0; step < 100 && here.left > 0.0; ++step) {
    const Descent before = here;
    std::vector<double> way =
        free_slopes(divisor, here, std::clamp(1e-3 * last, 1e-9, 1e-4), fixed);
    const double steepness = length_of(way);
    if (!(steepness > 0.0)) break;
    for (double& part : way)
      part *= -here.left / (steepness * steepness);
    stepped_down(divisor, here, way);
    constexpr double slow = 0.3;  // a double root leaves a quarter
    const double curved_step = std::clamp(0.01 * length_of(way), 1e-7, 1e-3);
    if (here.left > slow * before.left && !curved_down(divisor, here, curved_step, fixed) &&
        here.left == before.left)
      break;
    last = length_of(moved_along(here.at, before.at, -1.0));
  }
  return here;
}

}  // namespace windwright::metrology
