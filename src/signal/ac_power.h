// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "signal/bandwidth.h"
#include "signal/fundamental.h"
#include "signal/harmonic_groups.h"
#include "signal/power_terms.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::signal {

/// Voltage and current sampled together, evenly and without a gap.
struct PairStretch {
  std::span<const double> voltage_V;  // (samples), in time
  std::span<const double> current_A;  // as many
};

/// What one channel is like, in the channel's unit.
struct WaveformFigures {
  double rms;
  double mean;            // direct component
  double rectified_mean;  // of the size
  double least;
  double largest;
  double ripple_rms;                    // sqrt(rms^2 - mean^2)
  std::optional<double> ripple_factor;  // over the size of the mean; nothing: no mean to speak of
  std::optional<double> crest_factor;   // largest size over rms; nothing: all 0
};

/// One order: RMS values, phases of v = sqrt2 V sin(order omega t + phase), time from the rise of
/// the voltage's fundamental through zero; order 0: size of the mean, phase 0 or pi.
struct PairHarmonic {
  double voltage_V;
  double current_A;
  double voltage_phase_rad;  // in (-pi, pi]
  double current_phase_rad;
};

/// What only an alternating voltage has.
struct AlternatingPower {
  double frequency_Hz;         // mean over the windows
  double lowest_frequency_Hz;  // of a window
  double highest_frequency_Hz;
  int cycles;           // of a window
  std::size_t windows;  // that were taken
  PowerParts parts;
  PowerTerms terms;
  std::vector<PairHarmonic> harmonics;           // order 0 first, to bandwidth.highest_order
  std::vector<HarmonicGroup> voltage_groups;     // as many, in V
  std::vector<HarmonicGroup> current_groups;     // in A
  std::optional<Distortion> voltage_distortion;  // nothing: only one order below half the rate
  std::optional<Distortion> current_distortion;  // the same, or no fundamental in the current
  Bandwidth bandwidth;
};

struct PairPower {
  WaveformFigures voltage;  // over whole cycles where the voltage alternates, else over all samples
  WaveformFigures current;
  double active_power_W;  // mean of the product
  double apparent_power_VA;
  double analysed_s;
  std::optional<AlternatingPower> alternating;  // nothing: direct voltage
};

/// Power, waveform and harmonics of a voltage and its current.
///
/// A voltage whose alternating part is below a tenth of its mean is taken as direct. Otherwise the
/// stretches are cut into windows of 10 cycles (12 from 55 Hz on), one after the other as IEC
/// 61000-4-7 asks, each as long as the frequency found in it says, to a part of a sample
/// (ExactWindow): RMS, mean and power are means over whole cycles of every sample at full rate, and
/// lines are those of an exact-length transform. High rates are thinned out before the lines are
/// taken, and what the filter does to a line is taken out again. What is left after the last whole
/// window of a stretch is not used, and no window bridges two stretches. Values of several windows
/// are combined as mean squares, powers as means.
///
/// Harmonics from order 2 on, and so thd, are freed from noise: the median of the lines between the
/// neighbouring orders stands for the noise's mean square at the harmonic. Groups are not.
/// Accuracy: tests/signal/ac_power_property_test.cpp. Theory and limits: docs/theory/ac_power.md.
/// Checked in tests/published/ac_power_test.cpp.
/// @param stretches  at least one sample in all
/// @param where      for the message
/// @throws BadInput  no samples, or not as many of both; no fundamental; no stretch of a whole
///                   window; a frequency that changes by more than a tenth
PairPower pair_power(std::span<const PairStretch> stretches, double sample_rate_hz,
                     const FrequencyRange& range, std::string_view where);

}  // namespace windwright::signal
