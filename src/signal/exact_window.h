// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <vector>

namespace windwright::signal {

/// A rectangular window whose length need not be a whole number of samples: weights of the samples
/// 0, 1, 2, ... so that sum w[n] x[n] exp(-j omega n) is the integral from `begin` to `end`, on a
/// time axis in samples. The rectangle is smoothed by a short bell (Nuttall's four-term window),
/// so each weight is
///
///   w[n] = R((n - begin) / ramp) - R((n - end) / ramp),  R the bell's integral from 0 to 1.
///
/// In frequency that is the rectangle's spectrum, whose zeros at whole cycles per window stay where
/// they are, times the bell's: 1 - 0.37 (f ramp)^2 at small f in cycles per sample, below -98 dB
/// from 4 / ramp on. What sampling would fold down is gone. Weights of windows that follow each
/// other add up to 1. Limits: lines whose frequencies add up to more than (1 - 4 / ramp) of the
/// sample rate are not kept apart. With ramp 0 samples are taken or left as a whole, right only
/// where begin and end lie half-way between samples. Source: Nuttall, Some windows with very good
/// sidelobe behavior, IEEE Trans. Acoust., Speech, Signal Processing 29 (1981) 84-91, four terms
/// with continuous first derivative. Checked in tests/signal/exact_window_test.cpp.
class ExactWindow {
 public:
  /// @param begin, end, ramp  in samples; ramp at most end - begin, begin - ramp / 2 above -1
  ExactWindow(double begin, double end, double ramp);

  std::size_t first() const { return first_; }               // sample of the first weight
  std::size_t size() const { return size_; }                 // number of weights
  double sum() const { return sum_; }                        // of the weights
  const std::vector<double>& lead() const { return lead_; }  // the weights that are not 1 at the
  const std::vector<double>& tail() const { return tail_; }  // begin, and at the end

 private:
  std::size_t first_ = 0;
  std::size_t size_ = 0;
  double sum_ = 0.0;
  std::vector<double> lead_;
  std::vector<double> tail_;
};

}  // namespace windwright::signal
