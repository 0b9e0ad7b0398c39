// SPDX-License-Identifier: Apache-2.0
#include "analysis/channel_window.h"

#include "analysis/clock_drift.h"
#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "bench/bench.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <iterator>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {

SampleTimes::SampleTimes(const recording::Recording& recording)
    : rate_hz_(recording.sample_rate_hz()),
      stretches_(stretches_of(recording)),
      origin_(stretches_.front().device_first) {}

double SampleTimes::time_s(std::int64_t sample) const {
  const auto next = std::upper_bound(
      stretches_.begin() + 1, stretches_.end(), sample,
      [](std::int64_t wanted, const Stretch& stretch) { return wanted < stretch.first; });
  const Stretch& stretch = *std::prev(next);
  return static_cast<double>(stretch.device_first - origin_ + sample - stretch.first) / rate_hz_;
}

std::int64_t SampleTimes::sample_at(double time_s) const {
  std::int64_t sample = 0;
  for (const Stretch& stretch : stretches_)
    sample += samples_before(stretch, time_s, origin_, rate_hz_);
  return sample;
}

ChannelWindow::ChannelWindow(const recording::Recording& recording, const WindowRequest& request)
    : recording_(recording), times_(recording) {
  const recording::ChannelNote note = recording.note(request.channel);
  converter_ = note.converter;
  every_ = note.every;
  if (!note.certificate.empty()) {
    certificate_ = metrology::certificate_from_text(
        note.certificate,
        fmt::format("{}: certificate of {}", request.file.string(), request.channel));
  }
  end_ = times_.sample_at(request.to_s);
  first_ = recording.known_from(request.channel, times_.sample_at(request.from_s));
  const double interval_s = 1.0 / recording.sample_rate_hz();
  if (first_ >= end_) {
    throw base::BadInput(
        request.file.string() + ":1",
        fmt::format("has no samples from {:g} s to {:g} s", request.from_s, request.to_s),
        recording.samples() == 0
            ? "a recording with samples"
            : fmt::format("--from and --to between 0 and {:.6g}",
                          times_.time_s(recording.samples() - 1) + interval_s));
  }
  seen_ = {.recording = request.file.filename().string(),
           .channel = request.channel,
           .unit = certificate_ ? note.unit : "V",
           .calibrated = certificate_.has_value(),
           .from_s = times_.time_s(first_),
           .to_s = times_.time_s(end_ - 1) + interval_s,
           .sample_rate_hz = recording.sample_rate_hz(),
           .own_rate_hz = recording.sample_rate_hz() / static_cast<double>(every_),
           .clock = clock_drift(recording.clock(), recording.gaps())};
}

std::vector<Stretch> ChannelWindow::stretches() const {
  std::vector<Stretch> inside;
  for (const Stretch& each : times_.stretches()) {
    // Behind a gap a slow channel is not known before its next sample.
    const std::int64_t first = recording_.known_from(seen_.channel, std::max(each.first, first_));
    const std::int64_t end = std::min(each.first + each.count, end_);
    if (first < end) {
      inside.push_back({.first = first,
                        .count = end - first,
                        .device_first = each.device_first + first - each.first});
    }
  }
  return inside;
}

std::vector<double> ChannelWindow::gaps_at_s() const {
  std::vector<double> gaps;
  for (const recording::Gap& gap : recording_.gaps()) {
    if (gap.before_sample > first_ && gap.before_sample < end_)
      gaps.push_back(times_.time_s(gap.before_sample));
  }
  return gaps;
}

double ChannelWindow::value(double count) const {
  const double reading_V = bench::volts(converter_, count);
  return certificate_ ? metrology::value_of(*certificate_, reading_V) : reading_V;
}

ViewBin ChannelWindow::in_units(const recording::Bin& bin) const {
  const double ends[2] = {value(bin.lowest), value(bin.highest)};
  const double last = std::exp2(converter_.bits) - 1.0;
  const double below = value(std::max(0.0, bin.mean - bin.deviation));
  const double above = value(std::min(last, bin.mean + bin.deviation));
  return {.first = bin.first,
          .t_s = times_.time_s(bin.first),
          .lowest = std::min(ends[0], ends[1]),
          .highest = std::max(ends[0], ends[1]),
          .mean = 0.5 * (below + above),
          .deviation = 0.5 * std::abs(above - below),
          .samples = bin.samples};
}

std::vector<ViewBin> ChannelWindow::bins_of(const recording::Window& window,
                                            std::int64_t bins) const {
  std::vector<ViewBin> seen;
  for (const recording::Bin& bin : recording_.bins(seen_.channel, window, bins))
    seen.push_back(in_units(bin));
  return seen;
}

std::vector<ViewBin> ChannelWindow::bins(std::int64_t bins) const {
  return bins_of({.first = first_, .count = samples()}, bins);
}

std::vector<ViewBin> ChannelWindow::even_bins(std::int64_t own) const {
  const std::int64_t size = own * every_;
  const std::int64_t first = (first_ + size - 1) / size * size;
  const std::int64_t bins = std::max<std::int64_t>(0, end_ - first) / size;
  if (bins == 0) return {};
  return bins_of({.first = first, .count = bins * size}, bins);
}

void ChannelWindow::values(std::int64_t first, std::span<double> values) const {
  constexpr std::int64_t read_at_once = 1 << 18;
  const std::size_t some =
      static_cast<std::size_t>(std::max<std::int64_t>(1, read_at_once / every_));
  for (std::size_t done = 0; done < values.size(); done += some) {
    const std::span<double> part = values.subspan(done, std::min(some, values.size() - done));
    const auto wanted = static_cast<std::int64_t>(part.size() - 1) * every_ + 1;
    const auto counts =
        recording_.counts(seen_.channel, first + static_cast<std::int64_t>(done) * every_, wanted);
    for (std::size_t i = 0; i < part.size(); ++i)
      part[i] = bench::volts(converter_, counts[i * static_cast<std::size_t>(every_)]);
  }
  if (certificate_) metrology::values_of(*certificate_, values, values);
}

metrology::Estimate ChannelWindow::estimate(std::int64_t sample) const {
  const double reading_V =
      bench::volts(converter_, recording_.counts(seen_.channel, sample, 1).front());
  return certificate_ ? metrology::estimate_of(*certificate_, reading_V)
                      : metrology::Estimate(reading_V);
}

metrology::Estimate ChannelWindow::estimate_of_value(double value) const {
  if (!certificate_) return metrology::Estimate(value);
  return metrology::estimate_of(*certificate_, metrology::reading_of(*certificate_, value));
}

std::vector<ViewBin> ChannelWindow::bins_like(const std::vector<ViewBin>& others) const {
  std::vector<ViewBin> seen;
  constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
  for (const ViewBin& other : others) {
    const std::vector<ViewBin> one = bins_of({.first = other.first, .count = other.samples}, 1);
    // Between two gaps that are close to each other another slow channel may have no sample.
    seen.push_back(!one.empty() ? one.front()
                                : ViewBin{.first = other.first,
                                          .t_s = other.t_s,
                                          .lowest = unknown,
                                          .highest = unknown,
                                          .mean = unknown,
                                          .deviation = unknown,
                                          .samples = 0});
  }
  return seen;
}

std::vector<std::vector<ViewBin>> bins_together(std::span<const ChannelWindow> windows,
                                                std::int64_t bins) {
  const auto slowest = std::max_element(
      windows.begin(), windows.end(),
      [](const ChannelWindow& a, const ChannelWindow& b) { return a.every() < b.every(); });
  const std::vector<ViewBin> edges = slowest->bins(bins);
  std::vector<std::vector<ViewBin>> together;
  for (const ChannelWindow& window : windows)
    together.push_back(window.every() == slowest->every() ? window.bins(bins)
                                                          : window.bins_like(edges));
  return together;
}

ViewBin taken_together(std::span<const ViewBin> bins) {
  ViewBin all = bins.front();
  double sum = 0.0;
  std::int64_t samples = 0;
  for (const ViewBin& bin : bins) {
    all.lowest = std::min(all.lowest, bin.lowest);
    all.highest = std::max(all.highest, bin.highest);
    sum += bin.mean * static_cast<double>(bin.samples);
    samples += bin.samples;
  }
  all.mean = sum / static_cast<double>(samples);
  double squares = 0.0;
  for (const ViewBin& bin : bins) {
    const double step = bin.mean - all.mean;
    squares += static_cast<double>(bin.samples) * (bin.deviation * bin.deviation + step * step);
  }
  all.deviation = std::sqrt(squares / static_cast<double>(samples));
  all.samples = samples;
  return all;
}

}  // namespace windwright::analysis
