// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/input_reach.h"
#include "metrology/measurement_model.h"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::metrology {

/// A step at whose zeros an output may have a pole; of a tangent's angle at those of its cosine.
struct Divisor {
  std::uint32_t step;
  bool cosine = false;
};

/// Steps that a step's value is computed from, itself included: (program.steps).
std::vector<bool> steps_behind(const Program& program, std::uint32_t step);

/// Each divisor, base of a negative or broken power and angle of a tangent behind a step.
std::vector<Divisor> divisors_of(const Program& program, std::uint32_t output);

/// The place at the end of a descent, and what is left of the divisor's absolute value there.
struct Descent {
  std::vector<double> at;
  double left;
};

/// An output and its divisors as functions of the inputs' independent coordinates (input_reach.h).
class OutputLandscape {
 public:
  OutputLandscape(const MeasurementModel& model, std::size_t output)
      : model_(model), output_(model.program.outputs[output]), reach_(model) {}

  const MeasurementModel& model() const { return model_; }
  const InputReach& reach() const { return reach_; }
  std::uint32_t output() const { return output_; }
  std::size_t size() const { return reach_.size(); }

  std::vector<double> steps(std::span<const double> at) const;
  double output_at(std::span<const double> at) const { return steps(at)[output_]; }
  static double value(const Divisor& divisor, std::span<const double> steps);

  /// Slopes of a function over the coordinates by differences of `step`; 0 where it has none.
  std::vector<double> slopes(auto&& function, std::vector<double> at, double step) const;
  std::vector<double> divisor_slopes(const Divisor& divisor, const std::vector<double>& at,
                                     double step) const;

  /// Down the slopes towards the zero of a divisor's absolute value within reach, by Newton's steps
  /// in the direction in which it changes most (as the first-order reliability method goes: Hasofer
  /// and Lind, J. Eng. Mech. Div. ASCE 100 (1974) 111, from memory), or, where those are slow, to
  /// where its curvature puts the least of it or of its square.
  /// @param fixed  of length 1, a direction in which to stay; empty: none
  Descent descent(const Divisor& divisor, std::vector<double> from,
                  std::span<const double> fixed) const;

 private:
  std::vector<double> free_slopes(const Divisor& divisor, const Descent& here, double step,
                                  std::span<const double> fixed) const;
  bool stepped_down(const Divisor& divisor, Descent& here, const std::vector<double>& way) const;
  bool curved_down(const Divisor& divisor, Descent& here, double step,
                   std::span<const double> fixed) const;

  const MeasurementModel& model_;
  std::uint32_t output_;
  InputReach reach_;
};

std::vector<double> OutputLandscape::slopes(auto&& function, std::vector<double> at,
                                            double step) const {
  std::vector<double> slope(at.size());
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double here = at[i];
    at[i] = here + step;
    const double above = function(at);
    at[i] = here - step;
    const double below = function(at);
    at[i] = here;
    const double got = (above - below) / (2.0 * step);
    slope[i] = got - got == 0.0 ? got : 0.0;
  }
  return slope;
}

/// Length of a direction.
double length_of(std::span<const double> direction);

/// at + distance * direction.
std::vector<double> moved_along(std::span<const double> at, std::span<const double> direction,
                                double distance);

}  // namespace windwright::metrology
