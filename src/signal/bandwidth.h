// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::signal {

/// The highest order that is looked at, as IEC 61000-4-30 asks (from memory).
inline constexpr int most_orders = 50;

/// What a sample rate can carry of a fundamental and its harmonics.
struct Bandwidth {
  double sample_rate_hz;
  double frequency_Hz;  // of the fundamental
  int highest_order;    // whose group lies below what can be told apart; at most `most_orders`
  double pass_Hz;       // an analogue filter before the converter must let through up to here
  double stop_Hz;       // and hold back from here on: that folds onto what is wanted
};

/// Two lines are told apart from each other's images where their frequencies add up to less than
/// 31/32 of the sample rate (ExactWindow with its ramp of 128 samples). Content at f shows at |f -
/// k sample rate|; the first to reach the band up to `pass_Hz` lies at sample rate less `pass_Hz`.
/// Source: sampling theorem (Shannon, Proc. IRE 37 (1949) 10-21).
Bandwidth bandwidth(double sample_rate_hz, double frequency_Hz);

/// The same in a sentence or two.
std::string bandwidth_text(const Bandwidth& bandwidth);

}  // namespace windwright::signal
