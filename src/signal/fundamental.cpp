// SPDX-License-Identifier: Apache-2.0
#include "signal/fundamental.h"

#include "signal/fft.h"
#include "signal/statistics.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

namespace windwright::signal {

namespace {

using Complex = std::complex<double>;

constexpr double pi = std::numbers::pi;
// A second shows a line sharply, a quarter of one shows a line that moves.
constexpr std::array<double, 2> looks_s{1.0, 0.25};
constexpr double samples_per_cycle = 8.0;   // of the highest frequency, for the first look
constexpr std::size_t padding = 8;          // lines for each that the length gives
constexpr double least_share = 0.05;        // of the alternating power
constexpr double least_submultiple = 0.01;  // power of a line below the strongest, over its power
constexpr std::size_t hann_lobe = 2 * padding;

struct Spectrum {
  std::vector<double> power;  // mean square of the line, as a sinusoid alone would have
  double spacing_Hz;
  double total;  // alternating power
};

Spectrum spectrum_of(std::span<const double> samples, double sample_rate_hz) {
  const std::size_t count = samples.size();
  const std::size_t size = quick_fft_size(padding * count);
  const double middle = mean(samples);
  std::vector<Complex> x(size);
  double total = 0.0;
  for (std::size_t n = 0; n < count; ++n) {
    const double hann =
        1.0 - std::cos(2.0 * pi * (static_cast<double>(n) + 0.5) / static_cast<double>(count));
    x[n] = hann * (samples[n] - middle);
    total += (samples[n] - middle) * (samples[n] - middle);
  }
  std::vector<Complex> lines(size);
  Fft(size).transform(x, lines);
  Spectrum spectrum{.power = std::vector<double>(size / 2),
                    .spacing_Hz = sample_rate_hz / static_cast<double>(size),
                    .total = total / static_cast<double>(count)};
  const double scale = 2.0 / (static_cast<double>(count) * static_cast<double>(count));
  for (std::size_t k = 0; k < spectrum.power.size(); ++k)
    spectrum.power[k] = scale * std::norm(lines[k]);
  return spectrum;
}

// Top of the line about k, between its neighbours.
double top(const Spectrum& spectrum, std::size_t k) {
  if (k == 0 || k + 1 >= spectrum.power.size()) return static_cast<double>(k);
  const double a = spectrum.power[k - 1];
  const double b = spectrum.power[k];
  const double c = spectrum.power[k + 1];
  const double bend = a - 2.0 * b + c;
  return static_cast<double>(k) + (bend < 0.0 ? 0.5 * (a - c) / bend : 0.0);
}

// Strongest place between two lines of the spectrum, both included, if it is a top.
std::optional<std::size_t> top_between(const Spectrum& spectrum, double from, double to) {
  const auto first = static_cast<std::size_t>(std::max(1.0, std::ceil(from)));
  const auto last = static_cast<std::size_t>(
      std::min(std::max(0.0, std::floor(to)), static_cast<double>(spectrum.power.size()) - 2.0));
  std::optional<std::size_t> best;
  for (std::size_t k = first; k <= last; ++k) {
    if (spectrum.power[k] >= spectrum.power[k - 1] && spectrum.power[k] >= spectrum.power[k + 1] &&
        (!best || spectrum.power[k] > spectrum.power[*best])) {
      best = k;
    }
  }
  return best;
}

// Phasor of the fundamental over a stretch, every sample weighted with sin^4.
Complex phasor(std::span<const double> samples, double begin, double length, double omega) {
  const auto first = static_cast<std::size_t>(std::max(0.0, std::ceil(begin)));
  const auto last =
      std::min(samples.size(), static_cast<std::size_t>(std::max(0.0, begin + length)) + 1);
  const auto at = static_cast<double>(first);
  Complex turn = std::polar(1.0, -omega * at);
  Complex bell = std::polar(1.0, 2.0 * pi * (at - begin) / length);
  const Complex turn_step = std::polar(1.0, -omega);
  const Complex bell_step = std::polar(1.0, 2.0 * pi / length);
  const auto turned = [](Complex a, Complex b) {
    return Complex(a.real() * b.real() - a.imag() * b.imag(),
                   a.real() * b.imag() + a.imag() * b.real());
  };
  Complex sum;
  for (std::size_t n = first; n < last; ++n) {
    const double hann = 1.0 - bell.real();
    const double weighted = hann * hann * samples[n];
    sum += Complex(weighted * turn.real(), weighted * turn.imag());
    turn = turned(turn, turn_step);
    bell = turned(bell, bell_step);
  }
  return sum;
}

// As coarse_frequency_Hz, in samples that are looked at as a whole.
std::optional<double> line_in(std::span<const double> samples, double sample_rate_hz,
                              const FrequencyRange& range) {
  const auto thinning = static_cast<std::size_t>(
      std::max(1.0, sample_rate_hz / (samples_per_cycle * range.highest_Hz)));
  const std::vector<double> means = block_means(samples, thinning);
  if (means.size() < 8) return std::nullopt;
  const Spectrum spectrum = spectrum_of(means, sample_rate_hz / static_cast<double>(thinning));
  const double lowest =
      std::max(range.lowest_Hz / spectrum.spacing_Hz, static_cast<double>(hann_lobe));
  const auto strongest = top_between(spectrum, lowest, range.highest_Hz / spectrum.spacing_Hz);
  if (!strongest || spectrum.power[*strongest] < least_share * spectrum.total) return std::nullopt;
  const double found = top(spectrum, *strongest);
  double result = found;
  for (int part = 2; found / part >= lowest; ++part) {
    const double near = found / part;
    const auto below = top_between(spectrum, near - 0.25 * padding, near + 0.25 * padding);
    if (below && spectrum.power[*below] >= least_submultiple * spectrum.power[*strongest]) {
      result = near;
    }
  }
  return result * spectrum.spacing_Hz;
}

}  // namespace

std::optional<double> coarse_frequency_Hz(std::span<const double> samples, double sample_rate_hz,
                                          const FrequencyRange& range) {
  for (const double look_s : looks_s) {
    const auto look = static_cast<std::size_t>(look_s * sample_rate_hz);
    const auto found =
        line_in(samples.first(std::min(samples.size(), look)), sample_rate_hz, range);
    if (found) return found;
  }
  return std::nullopt;
}

double refined_frequency_Hz(std::span<const double> samples, double sample_rate_hz,
                            const CycleWindow& window, double guess_Hz) {
  constexpr int apart = 4;  // cycles from the one stretch to the other
  constexpr int most_rounds = 12;
  double frequency_Hz = guess_Hz;
  for (int round = 0; round < most_rounds; ++round) {
    const double cycle = sample_rate_hz / frequency_Hz;
    const double length = (window.cycles - apart) * cycle;
    const double omega = 2.0 * pi / cycle;
    const Complex early = phasor(samples, window.begin, length, omega);
    const Complex late = phasor(samples, window.begin + apart * cycle, length, omega);
    const double turned = std::arg(late * std::conj(early)) / (2.0 * pi * apart);
    frequency_Hz *= 1.0 + turned;
    if (std::abs(turned) < 1e-9) break;
  }
  return frequency_Hz;
}

}  // namespace windwright::signal
