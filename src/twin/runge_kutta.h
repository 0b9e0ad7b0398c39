// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::twin {

/// Dormand and Prince's method of order 5 with its error estimate of order 4, step by step under
/// error control. What is only summed up (energies) is carried beside the states: every sum that
/// the rates keep to rounding, the sums keep to rounding, too. Allocates at construction only.
/// Source: Dormand and Prince, A family of embedded Runge-Kutta formulae, J. Comp. Appl. Math. 6
/// (1980) 19; step control after Hairer, Norsett, Wanner, Solving ODEs I (1993), II.4 (from
/// memory).
class RungeKutta {
 public:
  /// Rates of states and sums at (t, y).
  using Rates = void (*)(void* model, double t, std::span<const double> y, std::span<double> dy,
                         std::span<double> sum_rates);

  /// @param model                handed to the rates; must outlive this
  /// @param absolute_tolerances  (states), of one step, beside the relative one
  RungeKutta(void* model, Rates rates, std::span<const double> absolute_tolerances,
             double relative_tolerance, std::size_t sums);

  /// From one time to another, between which the rates are smooth but for bends.
  /// @param step_s  to begin with; replaced by one to go on with
  /// @param y       (states), replaced
  /// @param sums    (sums), added to
  /// @throws std::runtime_error  steps below 1e-12 of the way
  void integrate(double from_s, double to_s, double& step_s, std::span<double> y,
                 std::span<double> sums);

  std::int64_t steps() const { return steps_; }  // tried since construction

 private:
  static constexpr std::size_t stages = 7;
  double tried_step(double t, double h, std::span<const double> y);

  void* model_;
  Rates rates_;
  std::vector<double> tolerances_;
  double relative_tolerance_;
  std::size_t sums_;
  std::array<std::vector<double>, stages> slopes_;
  std::array<std::vector<double>, stages> sum_slopes_;
  std::vector<double> next_;
  std::int64_t steps_ = 0;
};

}  // namespace windwright::twin
