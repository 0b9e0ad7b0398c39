// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/clock_drift.h"
#include "analysis/derived_channel.h"
#include "analysis/recorded_channel.h"
#include "bench/bench.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"
#include "recording/recording.h"

#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {

/// Which window of which channel. Times count from the recording's first sample, by the device's
/// count.
struct WindowRequest {
  std::filesystem::path file;
  std::string channel;
  double from_s = -std::numeric_limits<double>::infinity();
  double to_s = std::numeric_limits<double>::infinity();
};

/// In the channel's unit. Means and deviations through a curved certificate are those of two
/// points, one deviation to either side of the mean: exact for a straight law, and to second order
/// for any other.
struct ViewBin {
  std::int64_t first;  // sample of the recording
  double t_s;          // of that sample
  double lowest;
  double highest;
  double mean;
  double deviation;  // standard deviation of the samples (divided by their number)
  std::int64_t samples;
};

/// When samples were taken, by the device's own count.
class SampleTimes {
 public:
  explicit SampleTimes(const recording::Recording& recording);
  double time_s(std::int64_t sample) const;
  /// The first sample at this time or later.
  std::int64_t sample_at(double time_s) const;
  const std::vector<Stretch>& stretches() const { return stretches_; }

 private:
  double rate_hz_;
  std::vector<Stretch> stretches_;
  std::int64_t origin_;
};

/// What a channel is called, and how it is told apart from others on screen and paper.
struct SeenChannel {
  std::string recording;  // the file's name
  std::string channel;
  std::string unit;  // UDUNITS
  bool calibrated;   // else volts at the converter
  double from_s;     // of the first sample of the window
  double to_s;       // one sample past the last
  double sample_rate_hz;
  double own_rate_hz;               // of the channel: less where it is slower than its device
  std::string equation;             // of a derived channel; empty: it was recorded
  std::optional<ClockDrift> clock;  // of the whole recording; nothing where it is not known
};

/// A window of a recording's channel in calibrated values, or in volts at the converter where it
/// has no certificate; or of a channel that its bench derives. The recording must outlive it.
class ChannelWindow {
 public:
  /// @throws BadInput  no such channel, no sample in the window, a certificate that cannot be read,
  ///                   a derived channel made of one without a certificate
  ChannelWindow(const recording::Recording& recording, const WindowRequest& request);

  const SeenChannel& seen() const { return seen_; }
  std::int64_t first() const { return first_; }
  std::int64_t samples() const { return end_ - first_; }  // of the device
  /// Samples of the device that one of this channel is held for.
  std::int64_t every() const { return every_; }
  /// Of the channel's own, each counted once.
  std::int64_t own_samples() const { return (samples() + every_ - 1) / every_; }
  const SampleTimes& times() const { return times_; }
  bool is_derived() const { return derived_.has_value(); }
  /// The first sample at or after this one that is known; it may lie beyond the last.
  std::int64_t known_from(std::int64_t sample) const;
  /// Parts of the window without a gap.
  std::vector<Stretch> stretches() const;
  /// In the window: time of the first sample after each gap.
  std::vector<double> gaps_at_s() const;

  /// From the pyramid: the time it takes does not grow with the window. A derived channel is worked
  /// out from every sample: exact, but the window has an end. A bin where its equation has no value
  /// is left out.
  /// @param bins      1 or more
  /// @throws BadInput as DerivedChannel::parts; an equation without a value in all the window
  std::vector<ViewBin> bins(std::int64_t bins) const;
  /// Bins of exactly so many of the channel's own samples each, beginning where such rows of the
  /// pyramid do; what is left at both ends of the window is in none.
  std::vector<ViewBin> even_bins(std::int64_t own) const;
  /// Single samples, each once: those that hold at samples first, first + every(), ... of the
  /// recording, as many as there is room for. NaN where an equation has no value.
  void values(std::int64_t first, std::span<double> values) const;
  /// One sample with the uncertainty of its certificate; none without a certificate.
  metrology::Estimate estimate(std::int64_t sample) const;
  /// The same of a value, such as the window's mean.
  metrology::Estimate estimate_of_value(double value) const;

 private:
  double value(double count) const;
  ViewBin in_units(const recording::Bin& bin) const;
  std::vector<ViewBin> bins_of(const recording::Window& window, std::int64_t bins) const;
  /// A bin each, without samples where nothing is known.
  std::vector<ViewBin> bins_over(std::span<const recording::Window> parts) const;
  std::vector<ViewBin> worked_out(std::span<const recording::Window> parts) const;
  friend std::vector<std::vector<ViewBin>> bins_together(std::span<const ChannelWindow> windows,
                                                         std::int64_t bins);

  const recording::Recording& recording_;
  SampleTimes times_;
  bench::Converter converter_{};
  std::int64_t every_ = 1;
  std::optional<metrology::Certificate> certificate_;
  std::optional<DerivedChannel> derived_;  // then there is neither converter nor certificate
  SeenChannel seen_;
  std::int64_t first_ = 0;
  std::int64_t end_ = 0;
};

/// Bins of several channels over the same window of one recording, with the same edges: those that
/// the slowest of them has, or even ones beside a derived channel. A bin has no samples, and NaN,
/// where a channel is not known.
/// @return  (channels) x (bins)
std::vector<std::vector<ViewBin>> bins_together(std::span<const ChannelWindow> windows,
                                                std::int64_t bins);

/// Bins of one window as one.
/// @param bins  at least one
ViewBin taken_together(std::span<const ViewBin> bins);

}  // namespace windwright::analysis
