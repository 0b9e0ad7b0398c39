// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <vector>

namespace windwright::signal {

/// A low-pass of odd length about its middle, and how many samples become one. The filter lets
/// through what lies below `pass` and holds down by 100 dB what would fold onto it; what it does to
/// a line is known exactly and taken out again with `gain`.
/// Source: Kaiser, Nonrecursive digital filter design using the I0-sinh window function, Proc. IEEE
/// Symp. Circuits and Systems (1974): length and shape of the window.
class Decimation {
 public:
  /// @param pass_per_sample  highest frequency wanted, cycles per sample, above 0
  /// The step is the largest that leaves five samples or more a cycle of it; 1 where there is none.
  explicit Decimation(double pass_per_sample);

  std::size_t step() const { return step_; }
  /// (a multiple of 8, the last ones 0); a single 1 followed by zeros where the step is 1.
  const std::vector<double>& taps() const { return taps_; }
  /// Samples from a tap's begin to the filter's middle.
  std::size_t middle() const { return middle_; }
  /// Answer to a line, about 1 below `pass`; no phase about the middle.
  double gain(double cycles_per_sample) const;

 private:
  std::size_t step_ = 1;
  std::size_t middle_ = 0;
  std::vector<double> taps_;
};

}  // namespace windwright::signal
