// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/random.h"
#include "metrology/measurement_model.h"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace windwright::metrology {

/// How one input's trials are made of random numbers.
struct DrawRecipe {
  enum class Kind { normal, two_uniform, arcsine, curvilinear, student };
  Kind kind;
  double value;
  double first;   // normal, student: scale; two_uniform: half-width of one; others: half-width
  double second;  // two_uniform: half-width of the other; curvilinear: inexactness; student: dof
  std::uint64_t key;  // of the input's stream
};

/// Trials of a model's inputs, block by block. Trial n of an input depends on seed, input's name
/// and n alone: adding an input leaves the others' trials as they are, and any block can be made
/// by itself. Vector lanes of base::RandomStream's numbers: uniform ones to the bit, normal ones by
/// Box and Muller's transform to rounding; t-distributed ones by Bailey's (Math. Comp. 62 (1994)
/// 779), which like it needs no rejection, so that lanes stay together; the rest after JCGM
/// 101:2008, 6.4.
class TrialDraws {
 public:
  TrialDraws(const MeasurementModel& model, std::uint64_t seed);

  /// Fills row i of block_trials numbers with input i.
  /// @param first_trial  a multiple of block_trials
  /// @param rows         inputs x block_trials, row by row
  void fill(std::uint64_t first_trial, double* rows) const;

 private:
  struct Joint {
    std::vector<std::size_t> members;
    std::vector<double> factor;               // members x members, in the inputs' units
    std::vector<double> values;               // (members)
    bool shared;                              // one estimate of variance behind all
    std::vector<double> degrees_of_freedom;   // (members)
    std::vector<base::RandomStream> streams;  // (members), of how far variances may be off
  };
  static void fill_scatter(const base::RandomStream& stream, double degrees_of_freedom,
                           std::uint64_t first_trial, double* row);
  static void join(const Joint& joint, std::uint64_t first_trial, double* rows);

  std::vector<DrawRecipe> recipes_;  // (inputs); standard normal for members of a group
  std::vector<Joint> joints_;
};

/// Attempts that the numbers of one gamma variable suffice for: one in twenty fails at most.
inline constexpr std::uint64_t gamma_attempts = 64;

/// A gamma variable of this shape: number n of a stream.
/// @param shape  above 0
/// Source: Marsaglia and Tsang, A simple method for generating gamma variables, ACM Trans. Math.
/// Softw. 26 (2000) 363.
double gamma_variable(const base::RandomStream& stream, std::uint64_t n, double shape);

}  // namespace windwright::metrology
