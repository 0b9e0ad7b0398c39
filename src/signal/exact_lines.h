// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "signal/exact_window.h"
#include "signal/fft.h"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::signal {

/// Lines of voltage and current.
struct PairLines {
  std::vector<std::complex<double>> v;  // (lines): RMS and phase, k = 0 .. lines - 1
  std::vector<std::complex<double>> i;
};

/// Finds lines at whole multiples of one over a window's length, whatever its
/// length is: x(t) = c[0] + sqrt2 sum |c[k]| cos(k omega t + arg c[k]), time from the first sample
/// with a weight. The chirp z-transform gives them exactly, through three transforms of a quick
/// length.
/// Source: Rabiner, Schafer and Rader, The chirp z-transform algorithm, IEEE Trans. Audio
/// Electroacoust. 17 (1969) 86-92.
class ExactLines {
 public:
  /// @param v, i     samples from the window's first weight on, of the same length
  /// @param spacing  of the lines, cycles per sample: one over the window's length
  /// @param lines    more than 0, fewer than fit below half the sample rate
  PairLines of(std::span<const double> v, std::span<const double> i, const ExactWindow& window,
               double spacing, std::size_t lines);

 private:
  Fft fft_{1};  // kept, because windows are about as long as the one before
};

}  // namespace windwright::signal
