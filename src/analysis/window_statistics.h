// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"
#include "metrology/estimate.h"
#include "metrology/steady_state.h"
#include "signal/statistics.h"

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {

/// What the scatter of a window's samples says about their mean.
struct MeanScatter {
  signal::CorrelatedMean mean;  // type A, of values that follow each other
  double integral_time_s;       // values twice as far apart are as good as independent
  metrology::Drift drift;       // over the window; settled within 1 % of the mean
  std::int64_t block;           // samples that were averaged to one value before; 1: none
};

struct WindowStatistics {
  SeenChannel seen;
  std::int64_t samples;  // of the channel's own, each counted once
  double mean;
  double deviation;  // standard deviation of the samples, divisor n - 1
  double lowest;
  double highest;
  /// Nothing where a gap lies in the window or it has fewer than two samples: `without` says which.
  std::optional<MeanScatter> scatter;
  std::string without;
  /// The mean with the uncertainty of the certificate alone.
  metrology::Estimate calibration;
};

/// Windows of up to 4 194 304 samples are read sample by sample, longer ones from the pyramid, in
/// blocks of samples: their time does not grow with the window.
/// Source: as metrology::sample_statistics.
/// @throws BadInput  as view_of
WindowStatistics statistics_of(const WindowRequest& request);

/// The sample nearest to a time.
struct Cursor {
  double asked_s;
  /// Time of the sample; nothing where none lies within half a step, as in a gap.
  std::optional<double> t_s;
  /// Its value, with the uncertainty of the certificate alone: the sample's own scatter is not in
  /// it.
  metrology::Estimate value;
};

/// From a cursor to the next one. What the certificate's uncertainty has in common cancels.
struct CursorStep {
  std::optional<double> time_s;  // nothing where one of the two has no sample
  metrology::Estimate difference;
};

struct Cursors {
  SeenChannel seen;  // of the whole recording
  std::vector<Cursor> cursors;
  std::vector<CursorStep> steps;  // one fewer
};

/// @throws BadInput  not a recording, no such channel, no samples
Cursors cursors_of(const WindowRequest& request, std::span<const double> at_s);

}  // namespace windwright::analysis
