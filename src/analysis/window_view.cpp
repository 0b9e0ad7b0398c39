// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_view.h"

#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "bench/bench.h"
#include "metrology/certificate.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

/// When samples were taken, by the device's own count.
class Times {
 public:
  explicit Times(const recording::Recording& recording)
      : rate_hz_(recording.sample_rate_hz()),
        stretches_(stretches_of(recording)),
        origin_(stretches_.front().device_first) {}

  double time_s(std::int64_t sample) const {
    const auto next = std::upper_bound(
        stretches_.begin() + 1, stretches_.end(), sample,
        [](std::int64_t wanted, const Stretch& stretch) { return wanted < stretch.first; });
    const Stretch& stretch = *std::prev(next);
    return static_cast<double>(stretch.device_first - origin_ + sample - stretch.first) / rate_hz_;
  }

  /// The first sample at this time or later.
  std::int64_t sample_at(double time_s) const {
    std::int64_t sample = 0;
    for (const Stretch& stretch : stretches_)
      sample += samples_before(stretch, time_s, origin_, rate_hz_);
    return sample;
  }

 private:
  double rate_hz_;
  std::vector<Stretch> stretches_;
  std::int64_t origin_;
};

/// From counts to the channel's unit.
struct Law {
  bench::Converter converter;
  std::optional<metrology::Certificate> certificate;

  double value(double count) const {
    const double reading_V = bench::volts(converter, count);
    return certificate ? metrology::value_of(*certificate, reading_V) : reading_V;
  }
};

ViewBin in_units(const Law& law, const recording::Bin& bin, double time_s) {
  const double ends[2] = {law.value(bin.lowest), law.value(bin.highest)};
  const double last = std::exp2(law.converter.bits) - 1.0;
  const double below = law.value(std::max(0.0, bin.mean - bin.deviation));
  const double above = law.value(std::min(last, bin.mean + bin.deviation));
  return {.t_s = time_s,
          .lowest = std::min(ends[0], ends[1]),
          .highest = std::max(ends[0], ends[1]),
          .mean = 0.5 * (below + above),
          .deviation = 0.5 * std::abs(above - below),
          .samples = bin.samples};
}

ViewBin taken_together(const std::vector<ViewBin>& bins) {
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

}  // namespace

View view_of(const ViewRequest& request) {
  const recording::Recording recording(request.file);
  const recording::ChannelNote note = recording.note(request.channel);
  Law law{.converter = note.converter, .certificate = std::nullopt};
  if (!note.certificate.empty()) {
    law.certificate = metrology::certificate_from_text(
        note.certificate,
        fmt::format("{}: certificate of {}", request.file.string(), request.channel));
  }
  const Times times(recording);
  const std::int64_t first = times.sample_at(request.from_s);
  const std::int64_t end = times.sample_at(request.to_s);
  if (first >= end) {
    throw base::BadInput(
        request.file.string() + ":1",
        fmt::format("has no samples from {:g} s to {:g} s", request.from_s, request.to_s),
        recording.samples() == 0 ? "a recording with samples"
                                 : fmt::format("--from and --to between 0 and {:.6g}",
                                               times.time_s(recording.samples() - 1) +
                                                   1.0 / recording.sample_rate_hz()));
  }
  View view{.channel = request.channel,
            .unit = law.certificate ? note.unit : "V",
            .calibrated = law.certificate.has_value(),
            .from_s = times.time_s(first),
            .to_s = times.time_s(end - 1) + 1.0 / recording.sample_rate_hz(),
            .sample_rate_hz = recording.sample_rate_hz(),
            .bins = {},
            .all = {},
            .gaps_at_s = {}};
  for (const recording::Bin& bin :
       recording.bins(request.channel, {.first = first, .count = end - first}, request.bins))
    view.bins.push_back(in_units(law, bin, times.time_s(bin.first)));
  view.all = taken_together(view.bins);
  for (const recording::Gap& gap : recording.gaps()) {
    if (gap.before_sample > first && gap.before_sample < end)
      view.gaps_at_s.push_back(times.time_s(gap.before_sample));
  }
  return view;
}

}  // namespace windwright::analysis
