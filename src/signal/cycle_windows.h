// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "signal/decimation.h"

#include <optional>
#include <span>
#include <vector>

namespace windwright::signal {

struct PairStretch;

/// A window of whole cycles; time from the stretch's first sample.
struct TimeWindow {
  double begin_s;
  double end_s;
  double frequency_Hz;
};

/// One stretch made ready: thinned out for the lines, and cut into windows.
struct CutStretch {
  std::span<const double> full_v;  // every sample, for sums
  std::span<const double> full_i;
  double full_ramp;           // of ExactWindow, in samples
  std::vector<double> own_v;  // thinned samples; empty where v and i are the full ones
  std::vector<double> own_i;
  double rate_hz;  // of the thinned samples
  double first_s;  // time of the first one
  double ramp;     // in thinned samples
  std::vector<TimeWindow> windows;

  std::span<const double> v() const { return own_v.empty() ? full_v : std::span(own_v); }
  std::span<const double> i() const { return own_i.empty() ? full_i : std::span(own_i); }
  bool thinned() const { return !own_v.empty(); }
};

struct Cut {
  double sample_rate_hz;
  int cycles;       // of a window
  double guess_Hz;  // of the fundamental
  Decimation filter;
};
/// As many windows as fit, one after the other, each as long as the frequency in it says. Where
/// only one fits it may do without the samples about it that ExactWindow and the filter want, and
/// be shorter than its cycles by 0.03 %, the most that IEC 61000-4-7 leaves to synchronisation.
CutStretch cut(const PairStretch& stretch, const Cut& how);

}  // namespace windwright::signal
