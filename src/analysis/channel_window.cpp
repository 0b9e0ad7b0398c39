// SPDX-License-Identifier: Apache-2.0
#include "analysis/channel_window.h"

#include "analysis/clock_drift.h"
#include "analysis/derived_channel.h"
#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/derived_table.h"
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

namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

void require_channel(const recording::Recording& recording, const WindowRequest& request) {
  std::vector<std::string> names = recording.channels();
  if (std::find(names.begin(), names.end(), request.channel) != names.end()) return;
  for (const bench::DerivedChannel& derived : recording.derivation().list)
    names.push_back(derived.name);
  throw base::BadInput(request.file.string() + ":1",
                       fmt::format("has no channel '{}'", request.channel), base::either_of(names));
}

// All but the last a multiple of `every`, as even as that allows.
std::vector<recording::Window> even_parts(const recording::Window& window, std::int64_t every,
                                          std::int64_t bins) {
  const std::int64_t own = (window.count + every - 1) / every;
  const std::int64_t number = std::min(own, bins);
  std::vector<recording::Window> parts;
  const auto begin = [&](std::int64_t k) {
    return std::min(window.count, (k * (own / number) + k * (own % number) / number) * every);
  };
  for (std::int64_t k = 0; k < number; ++k)
    parts.push_back({.first = window.first + begin(k), .count = begin(k + 1) - begin(k)});
  return parts;
}

}  // namespace

ChannelWindow::ChannelWindow(const recording::Recording& recording, const WindowRequest& request)
    : recording_(recording), times_(recording) {
  const bool derived = DerivedChannel::is_there(recording, request.channel);
  recording::ChannelNote note{};
  if (derived) {
    derived_.emplace(recording, request.file, request.channel);
    note.unit = derived_->described().unit;
    note.every = derived_->every();
  } else {
    require_channel(recording, request);
    note = recording.note(request.channel);
  }
  converter_ = note.converter;
  every_ = note.every;
  if (!note.certificate.empty()) {
    certificate_ = metrology::certificate_from_text(
        note.certificate,
        fmt::format("{}: certificate of {}", request.file.string(), request.channel));
  }
  end_ = times_.sample_at(request.to_s);
  seen_.channel = request.channel;
  first_ = known_from(times_.sample_at(request.from_s));
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
           .unit = certificate_ || derived ? note.unit : "V",
           .calibrated = certificate_ || derived,
           .from_s = times_.time_s(first_),
           .to_s = times_.time_s(end_ - 1) + interval_s,
           .sample_rate_hz = recording.sample_rate_hz(),
           .own_rate_hz = recording.sample_rate_hz() / static_cast<double>(every_),
           .equation = derived ? derived_->described().equation : std::string(),
           .clock = clock_drift(recording.clock(), recording.gaps())};
}

std::int64_t ChannelWindow::known_from(std::int64_t sample) const {
  return derived_ ? derived_->known_from(sample) : recording_.known_from(seen_.channel, sample);
}

std::vector<Stretch> ChannelWindow::stretches() const {
  std::vector<Stretch> inside;
  for (const Stretch& each : times_.stretches()) {
    // Behind a gap a slow channel is not known before its next sample.
    const std::int64_t first = known_from(std::max(each.first, first_));
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

std::vector<ViewBin> ChannelWindow::worked_out(std::span<const recording::Window> parts) const {
  const std::vector<WorkedOut> figures = derived_->parts(parts);
  std::vector<ViewBin> bins;
  for (std::size_t k = 0; k < parts.size(); ++k) {
    bins.push_back({.first = parts[k].first,
                    .t_s = times_.time_s(parts[k].first),
                    .lowest = figures[k].lowest,
                    .highest = figures[k].highest,
                    .mean = figures[k].mean,
                    .deviation = figures[k].deviation,
                    .samples = std::min(parts[k].count, figures[k].values * every_)});
  }
  return bins;
}

std::vector<ViewBin> ChannelWindow::bins_over(std::span<const recording::Window> parts) const {
  if (derived_) return worked_out(parts);
  std::vector<ViewBin> bins;
  for (const recording::Window& part : parts) {
    const std::vector<ViewBin> one = bins_of(part, 1);
    // Between two gaps that are close to each other another slow channel may have no sample.
    bins.push_back(!one.empty() ? one.front()
                                : ViewBin{.first = part.first,
                                          .t_s = times_.time_s(part.first),
                                          .lowest = unknown,
                                          .highest = unknown,
                                          .mean = unknown,
                                          .deviation = unknown,
                                          .samples = 0});
  }
  return bins;
}

std::vector<ViewBin> ChannelWindow::bins(std::int64_t bins) const {
  const recording::Window window{.first = first_, .count = samples()};
  if (!derived_) return bins_of(window, bins);
  std::vector<ViewBin> there = worked_out(even_parts(window, every_, bins));
  std::erase_if(there, [](const ViewBin& bin) { return bin.samples == 0; });
  if (there.empty()) {
    throw base::BadInput(
        seen_.recording + ":1",
        fmt::format("{} = {} has no value in the window", seen_.channel, seen_.equation),
        "a window in which it has one");
  }
  return there;
}

std::vector<ViewBin> ChannelWindow::even_bins(std::int64_t own) const {
  const std::int64_t size = own * every_;
  const std::int64_t first = (first_ + size - 1) / size * size;
  const std::int64_t bins = std::max<std::int64_t>(0, end_ - first) / size;
  if (bins == 0) return {};
  const recording::Window window{.first = first, .count = bins * size};
  return derived_ ? worked_out(even_parts(window, size, bins)) : bins_of(window, bins);
}

void ChannelWindow::values(std::int64_t first, std::span<double> values) const {
  if (derived_) return derived_->values(first, values);
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
  if (derived_) return derived_->estimate(sample);
  const double reading_V =
      bench::volts(converter_, recording_.counts(seen_.channel, sample, 1).front());
  return certificate_ ? metrology::estimate_of(*certificate_, reading_V)
                      : metrology::Estimate(reading_V);
}

metrology::Estimate ChannelWindow::estimate_of_value(double value) const {
  if (derived_) return derived_->estimate_of_value(value, {.first = first_, .count = samples()});
  if (!certificate_) return metrology::Estimate(value);
  return metrology::estimate_of(*certificate_, metrology::reading_of(*certificate_, value));
}

std::vector<std::vector<ViewBin>> bins_together(std::span<const ChannelWindow> windows,
                                                std::int64_t bins) {
  const auto slowest = std::max_element(
      windows.begin(), windows.end(),
      [](const ChannelWindow& a, const ChannelWindow& b) { return a.every() < b.every(); });
  const bool derived = std::any_of(windows.begin(), windows.end(),
                                   [](const ChannelWindow& each) { return each.is_derived(); });
  std::vector<recording::Window> parts;
  if (derived) {
    recording::Window common{.first = slowest->first(), .count = slowest->samples()};
    for (const ChannelWindow& window : windows) {
      const std::int64_t end = common.first + common.count;
      common.first = std::max(common.first, window.first());
      common.count = end - common.first;
    }
    parts = even_parts(common, slowest->every(), bins);
  } else {
    for (const ViewBin& bin : slowest->bins(bins))
      parts.push_back({.first = bin.first, .count = bin.samples});
  }
  std::vector<std::vector<ViewBin>> together;
  for (const ChannelWindow& window : windows) {
    const bool own_edges = !derived && window.every() == slowest->every();
    together.push_back(own_edges ? window.bins(bins) : window.bins_over(parts));
  }
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
