// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <span>

namespace windwright::twin {

/// CVODE's Adams method for a small system that is not stiff, with one event function. Keeps no
/// memory from one beginning to the next, so what follows depends on its arguments alone.
class Integrator {
 public:
  /// dy/dt at (t, y), each (equations).
  using Rates = void (*)(const void* model, double t, const double* y, double* rates);
  /// Its zero is an event.
  using Event = double (*)(const void* model, double t, const double* y);

  /// @param model                handed to both functions; must outlive the integrator
  /// @param absolute_tolerances  (equations), beside the relative one
  Integrator(const void* model, Rates rates, Event event,
             std::span<const double> absolute_tolerances, double relative_tolerance);
  ~Integrator();

  enum class Crossing { falling, rising };
  struct Ending {
    double t;
    bool event;  // stopped at an event, before `to`
  };
  /// Starts anew at `from`, to go no further than `until`.
  /// @param y  (equations)
  void begin(double from, double until, Crossing crossing, std::span<const double> y);
  /// Integrates on to `to`, at most the `until` of the beginning, or to the first event. Where it
  /// is stopped on the way changes nothing about the steps.
  /// @param y  (equations), replaced by the values there
  Ending reach(double to, std::span<double> y);

 private:
  struct Solver;
  std::unique_ptr<Solver> solver_;
};

}  // namespace windwright::twin
