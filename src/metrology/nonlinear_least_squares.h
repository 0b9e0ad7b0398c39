// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// Extended where the machine has it: nearly parallel parameters cost digits.
using Extended = long double;

/// Residuals r(p) whose sum of squares is to be least.
struct NonlinearProblem {
  std::size_t residuals;   // how many, at least as many as parameters
  std::size_t parameters;  // how many, 1 or more
  /// Fills in the residuals and their derivatives (residuals x parameters, row by row), which must
  /// be exact. A value that is not finite tells that the parameters are outside the domain.
  std::function<void(std::span<const Extended> parameters, std::span<Extended> residuals,
                     std::span<Extended> derivatives)>
      evaluate;
};

struct NonlinearOptions {
  int most_steps = 5000;  // accepted and refused ones; a hard valley takes hundreds
  /// The least squares stand still when a full Gauss-Newton step changes no parameter by more than
  /// this share of it. Well above the rounding of Extended, well below that of double.
  Extended smallest_change = 1e-13L;
  /// False: be content with the first descent that comes to rest, from a start known to be near.
  bool every_way = true;
};

enum class NonlinearEnd {
  at_rest,    // the step that is left lies below the rounding
  exhausted,  // most_steps done
  no_descent  // no step goes down, and yet the gradient is not 0 to rounding
};

struct NonlinearResult {
  std::vector<Extended> parameters;
  std::vector<Extended> residuals;
  std::vector<Extended> inverse;  // of J^T J, parameters x parameters, row by row
  Extended sum_of_squares;
  int steps;
  NonlinearEnd end;
};

/// Least squares of residuals that are not linear in their parameters, from one start.
///
/// Levenberg-Marquardt with the scaling of More and the damping of Nielsen, each step by QR of the
/// damped system in extended precision. From a poor start a descent may run away along a plateau
/// where another finds the valley: four go their own ways (damping 1e-3 and 1e-8, parameters
/// scaled or not, parameters or their logarithms), and the lowest end is kept. Gauss-Newton steps
/// bring it to the last digits.
/// Source: More, The Levenberg-Marquardt algorithm, Lecture Notes in Mathematics 630 (1978) 105;
/// Nielsen, Damping parameter in Marquardt's method, IMM-REP-1999-05. Checked from both starts of
/// every set in tests/published/nonlinear_fit_test.cpp.
/// @throws BadInput  `where`: residuals not finite at the start, singular at the end (a parameter
///                   that nothing depends on)
NonlinearResult least_squares(const NonlinearProblem& problem, std::span<const Extended> start,
                              std::string_view where, const NonlinearOptions& options = {});

}  // namespace windwright::metrology
