// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/coverage_interval.h"
#include "metrology/measurement_model.h"
#include "metrology/tail_moments.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace windwright::metrology {

struct MonteCarloOptions {
  /// So many trials; nothing: as many as it takes until the results are stable (JCGM 101:2008,
  /// 7.9): sequences of 10 000 until twice the standard error of every output's mean, standard
  /// uncertainty and symmetric interval's ends is within its tolerance.
  std::optional<std::size_t> trials = {};
  std::size_t most_trials = 10'000'000;  // of the adaptive procedure; 80 MB an output
  std::vector<double> tolerances = {};   // (outputs), of the adaptive procedure
  std::uint64_t seed = 1;
  double level = 0.95;
};

struct MonteCarloOutput {
  /// Fewer than the trials made where the equation has no value for some (JSON: not_finite).
  std::size_t trials;
  std::size_t not_finite;
  double value;       // NaN where the distribution need not have a mean
  double u;           // NaN where it need not have a variance
  TailMoments exist;  // and why it need not
  CoverageIntervals intervals;
  /// Twice the largest standard error of the symmetric interval's ends and of value and u that
  /// exist.
  double numerical_tolerance;
  bool stable;  // within its tolerance; true for a stated number of trials
};

/// Regions that hold `level` of the trials of all outputs together, after JCGM 102:2011, 7.7 (from
/// memory), about the means: an ellipsoid whose half-axes are `ellipsoid_factor` of the
/// outputs' joint standard deviations, and a box of `box_factor` standard uncertainties each way.
struct JointRegion {
  double ellipsoid_factor;  // NaN where the outputs determine each other
  double box_factor;
};

struct MonteCarlo {
  std::size_t trials;
  bool adaptive;
  bool stable;  // all outputs
  std::vector<MonteCarloOutput> outputs;
  std::vector<double> correlation;   // outputs x outputs, row by row, where all have a value
  std::optional<JointRegion> joint;  // of two outputs or more that all have a u
};

/// Largest number of trials times outputs.
inline constexpr std::size_t most_values = 100'000'000;

/// The same result for the same model, seed and number of trials, with every instruction set.
/// @throws BadInput  an output without a value in more than half of the trials; more than
///                   most_values; fewer than 100 trials
MonteCarlo monte_carlo(const MeasurementModel& model, const MonteCarloOptions& options);

/// Trials of all outputs, outputs x trials, as they come out, finite or not.
std::vector<std::vector<double>> trials_of(const MeasurementModel& model, std::uint64_t seed,
                                           std::size_t trials);

}  // namespace windwright::metrology
