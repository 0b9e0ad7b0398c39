// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "recording/recording.h"

#include <cstdint>
#include <optional>
#include <span>
#include <string>

namespace windwright::analysis {

/// How a device's clock ran against the computer's that recorded it.
struct ClockDrift {
  double drift_ppm;    // above 0: the device's runs ahead, it takes more samples than it says
  double u_drift_ppm;  // from the scatter of the pairs about the line
  double dof;
  std::int64_t pairs;
  double span_s;  // from the first pair to the last
  /// What a nominal rate is as counted by the computer's clock.
  double rate_Hz(double nominal_Hz) const { return nominal_Hz * (1.0 + 1e-6 * drift_ppm); }
  double u_rate_Hz(double nominal_Hz) const { return nominal_Hz * 1e-6 * u_drift_ppm; }
};

/// The straight line through the pairs of a recording's two clocks, by least squares: one slope,
/// and between any two gaps an offset of its own, since after a gap a device's count may have been
/// taken up by the computer's clock. Nothing: fewer than three degrees of freedom.
/// @param gaps  of the recording
/// Source: slope and its standard deviation of simple linear regression (NIST/SEMATECH e-Handbook
/// of Statistical Methods, 4.4.3.1), pooled over stretches; checked against NIST StRD Norris in
/// tests/published/clock_drift_test.cpp.
std::optional<ClockDrift> clock_drift(std::span<const recording::ClockPair> pairs,
                                      std::span<const recording::Gap> gaps);

/// In words, for people: how it ran, and what a nominal rate is by the computer's clock.
std::string words_of(const ClockDrift& drift, double nominal_Hz);

}  // namespace windwright::analysis
