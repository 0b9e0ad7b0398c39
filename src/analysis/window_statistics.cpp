// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_statistics.h"

#include "analysis/channel_window.h"
#include "metrology/estimate.h"
#include "metrology/sample_statistics.h"
#include "metrology/steady_state.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr std::int64_t most_single = 1 << 22;
constexpr metrology::SettlingRule rule{.drift_relative = 0.01};

// Blocks that the pyramid has whole, and still a thousand or more of them.
std::int64_t block_of(std::int64_t samples) {
  constexpr std::int64_t enough = 1024;
  std::int64_t block = 1;
  for (const std::int64_t level : {4096, 65536, 1'048'576}) {
    if (samples > most_single && samples / level >= enough) block = level;
  }
  return block;
}

std::vector<double> values_of(const ChannelWindow& window, std::int64_t block) {
  std::vector<double> values;
  if (block == 1) {
    values.resize(static_cast<std::size_t>(window.own_samples()));
    window.values(window.first(), values);
    return values;
  }
  for (const ViewBin& bin : window.even_bins(block))
    values.push_back(bin.mean);
  return values;
}

void take_figures(WindowStatistics& result, const metrology::SampleStatistics& of_samples) {
  result.mean = of_samples.mean.mean;
  result.deviation = of_samples.standard_deviation;
  result.lowest = of_samples.least;
  result.highest = of_samples.largest;
}

// Blocks that overlap nothing are worth what the samples in them are.
MeanScatter scatter_of(const metrology::SampleStatistics& of_values, std::int64_t block,
                       const WindowStatistics& result) {
  MeanScatter scatter{
      .mean = of_values.mean, .integral_time_s = 0.0, .drift = of_values.drift, .block = block};
  const auto samples = static_cast<double>(result.samples);
  if (block > 1) {
    const double worth = std::pow(result.deviation / scatter.mean.u, 2);
    scatter.mean.mean = result.mean;
    scatter.mean.effective_samples = std::isfinite(worth) ? std::min(samples, worth) : samples;
  }
  scatter.integral_time_s =
      0.5 * (result.seen.to_s - result.seen.from_s) / scatter.mean.effective_samples;
  return scatter;
}

}  // namespace

WindowStatistics statistics_of(const WindowRequest& request) {
  const recording::Recording recording(request.file);
  const ChannelWindow window(recording, request);
  const ViewBin all = taken_together(window.bins(1000));
  const std::int64_t without_value =
      window.is_derived()
          ? window.own_samples() - (all.samples + window.every() - 1) / window.every()
          : 0;
  const auto samples = static_cast<double>(window.own_samples() - without_value);
  WindowStatistics result{.seen = window.seen(),
                          .samples = window.own_samples() - without_value,
                          .mean = all.mean,
                          .deviation = samples < 2.0
                                           ? std::numeric_limits<double>::quiet_NaN()
                                           : all.deviation * std::sqrt(samples / (samples - 1.0)),
                          .lowest = all.lowest,
                          .highest = all.highest,
                          .scatter = std::nullopt,
                          .without = {},
                          .calibration = {}};
  const std::vector<double> gaps_at_s = window.gaps_at_s();
  if (!gaps_at_s.empty()) {
    result.without =
        fmt::format("a gap at {:.6g} s lies in the window: take one side of it", gaps_at_s.front());
  } else if (without_value > 0) {
    result.without = fmt::format(
        "the equation has no value at {} samples of the window: take a part "
        "where it has",
        without_value);
  } else if (result.samples < 2) {
    result.without = "a single sample has no scatter";
  } else {
    const std::int64_t block = block_of(result.samples);
    const metrology::SampleStatistics of_values =
        metrology::sample_statistics(values_of(window, block), rule);
    if (block == 1) take_figures(result, of_values);
    result.scatter = scatter_of(of_values, block, result);
  }
  result.calibration = window.estimate_of_value(result.mean);
  return result;
}

Cursors cursors_of(const WindowRequest& request, std::span<const double> at_s) {
  const recording::Recording recording(request.file);
  const ChannelWindow window(recording,
                             WindowRequest{.file = request.file, .channel = request.channel});
  Cursors result{.seen = window.seen(), .cursors = {}, .steps = {}};
  const double half_s = 0.5 / recording.sample_rate_hz();
  for (const double asked_s : at_s) {
    Cursor cursor{.asked_s = asked_s, .t_s = std::nullopt, .value = {}};
    const std::int64_t sample = window.times().sample_at(asked_s - half_s);
    if (sample < recording.samples() && window.known_from(sample) == sample) {
      const double time_s = window.times().time_s(sample);
      // A time that was printed is not missed by its last digit.
      if (std::abs(time_s - asked_s) <= half_s * (1.0 + 1e-6) + 1e-12 * std::abs(asked_s)) {
        cursor.t_s = time_s;
        cursor.value = window.estimate(sample);
      }
    }
    result.cursors.push_back(cursor);
  }
  for (std::size_t k = 1; k < result.cursors.size(); ++k) {
    const Cursor& a = result.cursors[k - 1];
    const Cursor& b = result.cursors[k];
    CursorStep step{};
    if (a.t_s && b.t_s) step = {.time_s = *b.t_s - *a.t_s, .difference = b.value - a.value};
    result.steps.push_back(step);
  }
  return result;
}

}  // namespace windwright::analysis
