// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_spectrum.h"

#include "analysis/channel_window.h"
#include "analysis/recorded_channel.h"
#include "analysis/window_view.h"
#include "base/errors.h"
#include "recording/recording.h"
#include "signal/fft.h"
#include "signal/spectrum.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr std::int64_t longest_segment = 1 << 22;
constexpr std::int64_t shortest_segment = 8;

// A slow channel is held between its samples: its spectrum is that of the samples.
double rate_hz_of(const ChannelWindow& window) {
  return window.seen().sample_rate_hz / static_cast<double>(window.every());
}

std::int64_t segment_of(const SpectrumRequest& request, const ChannelWindow& window) {
  const double rate_hz = rate_hz_of(window);
  if (request.resolution_Hz > 0.0) {
    const double wanted = std::ceil(rate_hz / request.resolution_Hz - 1e-6);
    if (wanted < shortest_segment || wanted > longest_segment) {
      throw base::BadInput(
          "--resolution-Hz", fmt::format("is {:g}", request.resolution_Hz),
          fmt::format("{:.3g} to {:.3g} Hz, at {:g} samples a second", rate_hz / longest_segment,
                      rate_hz / shortest_segment, rate_hz));
    }
    return static_cast<std::int64_t>(signal::quick_fft_size(static_cast<std::size_t>(wanted)));
  }
  constexpr std::int64_t segments = 8;
  constexpr std::int64_t usual = 1 << 16;
  // The largest quick size that is not longer.
  std::int64_t segment =
      std::max(shortest_segment, std::min(usual, window.samples() / window.every() / segments));
  while (static_cast<std::int64_t>(signal::quick_fft_size(static_cast<std::size_t>(segment))) !=
         segment)
    --segment;
  return segment;
}

/// Where segments can begin; lengths in samples of the device.
struct Places {
  std::vector<Stretch> stretches;
  std::int64_t segment;
  std::int64_t step;

  std::int64_t in(const Stretch& stretch) const {
    return stretch.count < segment ? 0 : (stretch.count - segment) / step + 1;
  }
  std::int64_t number() const {
    std::int64_t all = 0;
    for (const Stretch& stretch : stretches)
      all += in(stretch);
    return all;
  }
  /// Sample of the recording, and the device's count of it.
  Stretch at(std::int64_t which) const {
    for (const Stretch& stretch : stretches) {
      const std::int64_t here = in(stretch);
      if (which < here) {
        return {.first = stretch.first + which * step,
                .count = segment,
                .device_first = stretch.device_first + which * step};
      }
      which -= here;
    }
    return {};
  }
};

}  // namespace

namespace {

void require_values(const ChannelWindow& window, const Stretch& place,
                    std::span<const double> values) {
  const auto missing = std::find_if(values.begin(), values.end(),
                                    [](double value) { return !std::isfinite(value); });
  if (missing == values.end()) return;
  const std::int64_t sample = place.first + (missing - values.begin()) * window.every();
  throw base::BadInput(window.seen().recording + ":1",
                       fmt::format("{} = {} has no value at {:.6g} s", window.seen().channel,
                                   window.seen().equation, window.times().time_s(sample)),
                       "a window in which it has");
}

}  // namespace

WindowSpectrum spectrum_of(const SpectrumRequest& request) {
  const recording::Recording recording(request.window.file);
  const ChannelWindow window(recording, request.window);
  signal::Welch welch(request.taper, static_cast<std::size_t>(segment_of(request, window)));
  const Places places{.stretches = window.stretches(),
                      .segment = static_cast<std::int64_t>(welch.segment()) * window.every(),
                      .step = static_cast<std::int64_t>(welch.step()) * window.every()};
  const std::int64_t there = places.number();
  if (there == 0) {
    throw base::BadInput(
        request.window.file.string() + ":1",
        fmt::format("has no stretch of {} samples ({:.6g} s) in that window", welch.segment(),
                    static_cast<double>(places.segment) / window.seen().sample_rate_hz),
        "a longer window between two gaps, or lines farther apart (--resolution-Hz)");
  }
  const std::int64_t taken = std::min(there, request.averages);
  std::vector<double> values(welch.segment());
  for (std::int64_t k = 0; k < taken; ++k) {
    const Stretch place = places.at(k * (there / taken) + k * (there % taken) / taken);
    window.values(place.first, values);
    if (window.is_derived()) require_values(window, place, values);
    welch.add(values, place.device_first / window.every());
  }
  return {.seen = window.seen(),
          .taper = request.taper,
          .spectrum = welch.spectrum(rate_hz_of(window)),
          .segments_there = there};
}

std::vector<WindowSpectrum> spectra_of(std::span<const SpectrumRequest> requests) {
  std::vector<WindowSpectrum> spectra;
  for (const SpectrumRequest& request : requests) {
    spectra.push_back(spectrum_of(request));
    const WindowSpectrum& first = spectra.front();
    const WindowSpectrum& last = spectra.back();
    require_alike(first.seen, last.seen);
    if (first.spectrum.line_spacing_Hz != last.spectrum.line_spacing_Hz) {
      throw base::BadInput(
          last.seen.recording,
          fmt::format("has lines {:.6g} Hz apart where {} has them {:.6g} Hz apart",
                      last.spectrum.line_spacing_Hz, first.seen.recording,
                      first.spectrum.line_spacing_Hz),
          "one --resolution-Hz that both can have");
    }
  }
  return spectra;
}

}  // namespace windwright::analysis
