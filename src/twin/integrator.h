// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <memory>
#include <span>

namespace windwright::twin {

/// CVODE's Adams method for a small system that is not stiff, with one event function. Keeps no
/// memory from one beginning to the next, so what follows depends on its arguments alone.
class Integrator {
 public:
  /// dy/dt at (t, y), each (equations). What either function throws ends the stretch and leaves
  /// reach.
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
    bool stuck;  // no step leads on from t: too many for the way, or none is short enough
  };
  /// Starts anew at `from`, to go no further than `until`.
  /// @param y  (equations)
  void begin(double from, double until, Crossing crossing, std::span<const double> y);
  /// Integrates on to `to`, at most the `until` of the beginning, or to the first event. Where it
  /// is stopped on the way changes nothing about the steps.
  /// @param y  (equations), replaced by the values there
  Ending reach(double to, std::span<double> y);

  std::int64_t calls() const;  // of the rates, since construction

 private:
  struct Solver;
  std::unique_ptr<Solver> solver_;
};

}  // namespace windwright::twin
