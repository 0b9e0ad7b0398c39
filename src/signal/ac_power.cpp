// SPDX-License-Identifier: Apache-2.0
#include "signal/ac_power.h"

#include "base/errors.h"
#include "signal/bandwidth.h"
#include "signal/cycle_windows.h"
#include "signal/decimation.h"
#include "signal/exact_lines.h"
#include "signal/exact_window.h"
#include "signal/fundamental.h"
#include "signal/harmonic_groups.h"
#include "signal/pair_sums.h"
#include "signal/power_terms.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::signal {

namespace {

using Complex = std::complex<double>;

constexpr double pi = std::numbers::pi;
constexpr double direct_below = 0.1;  // alternating part over the mean
constexpr double twelve_cycles_from_Hz = 55.0;
constexpr double steady_within = 0.1;     // change of frequency
constexpr std::size_t between_first = 2;  // lines from a harmonic to the noise beside it

// Sums and extremes of all that was looked at.
struct Seen {
  static constexpr double infinity = std::numeric_limits<double>::infinity();
  PairSums sums;
  Extremes v{.least = infinity, .largest = -infinity};
  Extremes i = v;

  static void widen(Extremes& have, std::span<const double> samples) {
    if (samples.empty()) return;
    const Extremes more = extremes_of(samples);
    have = {.least = std::min(have.least, more.least),
            .largest = std::max(have.largest, more.largest)};
  }
  void widen(std::span<const double> voltage_V, std::span<const double> current_A) {
    widen(v, voltage_V);
    widen(i, current_A);
  }
};

struct ChannelSums {
  double sum;
  double squares;
  double sizes;
};

WaveformFigures figures(const ChannelSums& sums, double weight, const Extremes& extremes) {
  WaveformFigures result{.rms = std::sqrt(std::max(0.0, sums.squares / weight)),
                         .mean = sums.sum / weight,
                         .rectified_mean = sums.sizes / weight,
                         .least = extremes.least,
                         .largest = extremes.largest,
                         .ripple_rms = 0.0,
                         .ripple_factor = std::nullopt,
                         .crest_factor = std::nullopt};
  result.ripple_rms = std::sqrt(std::max(0.0, result.rms * result.rms - result.mean * result.mean));
  constexpr double least_mean = 1e-3;  // of the RMS value
  if (std::abs(result.mean) > least_mean * result.rms) {
    result.ripple_factor = result.ripple_rms / std::abs(result.mean);
  }
  if (result.rms > 0.0) {
    result.crest_factor = std::max(-extremes.least, extremes.largest) / result.rms;
  }
  return result;
}

PairPower power_of(const Seen& seen, double sample_rate_hz) {
  const PairSums& s = seen.sums;
  PairPower result{
      .voltage = figures({s.v, s.v_squared, s.v_size}, s.weight, seen.v),
      .current = figures({s.i, s.i_squared, s.i_size}, s.weight, seen.i),
      .active_power_W = s.v_i / s.weight,
      .apparent_power_VA = 0.0,
      .analysed_s = s.weight / sample_rate_hz,
      .alternating = std::nullopt,
  };
  result.apparent_power_VA = result.voltage.rms * result.current.rms;
  return result;
}

Seen all_samples(std::span<const PairStretch> stretches, std::string_view where) {
  Seen seen;
  for (const PairStretch& stretch : stretches) {
    if (stretch.voltage_V.size() != stretch.current_A.size()) {
      throw base::BadInput(where,
                           fmt::format("has {} samples of voltage and {} of current",
                                       stretch.voltage_V.size(), stretch.current_A.size()),
                           "as many of both");
    }
    add(stretch.voltage_V, stretch.current_A, seen.sums);
    seen.widen(stretch.voltage_V, stretch.current_A);
  }
  if (seen.sums.weight == 0.0) throw base::BadInput(where, "has no samples", "at least one");
  return seen;
}

// What the thinning did to a line, between the places of a table at a spacing close to the lines'.
class Gains {
 public:
  Gains(const Decimation& filter, double spacing, std::size_t lines) : spacing_(spacing) {
    if (filter.step() == 1) return;
    for (std::size_t k = 0; k < lines + 4; ++k)
      table_.push_back(filter.gain((static_cast<double>(k) - 1.0) * spacing));
  }
  /// @param cycles_per_sample  of the samples before thinning
  double at(double cycles_per_sample) const {
    const double place = cycles_per_sample / spacing_;
    const auto k = std::min(static_cast<std::size_t>(place), table_.size() - 4);
    const double x = place - static_cast<double>(k);
    const double* g = table_.data() + k;  // at -1, 0, 1 and 2
    return -x * (x - 1.0) * (x - 2.0) / 6.0 * g[0] + (x * x - 1.0) * (x - 2.0) / 2.0 * g[1] -
           x * (x + 1.0) * (x - 2.0) / 2.0 * g[2] + x * (x * x - 1.0) / 6.0 * g[3];
  }

 private:
  double spacing_;
  std::vector<double> table_;
};

// Lines and phasors of all windows together.
class LineTally {
 public:
  LineTally(int cycles, int orders)
      : cycles_(static_cast<std::size_t>(cycles)),
        lines_(cycles_ * static_cast<std::size_t>(orders) + cycles_ / 2 + 1),
        v_squares_(lines_),
        i_squares_(lines_),
        v_phasors_(static_cast<std::size_t>(orders) + 1),
        i_phasors_(v_phasors_.size()) {}

  std::size_t lines() const { return lines_; }
  void add(const PairLines& lines);
  /// Fills in all that comes from lines.
  void finish(AlternatingPower& result) const;

 private:
  // Mean squares over the windows; the harmonics' freed from noise where asked.
  std::vector<double> mean_squares(const std::vector<double>& sums) const;
  double noise(const std::vector<double>& squares, std::size_t k) const;
  std::optional<Distortion> distortion_of(const std::vector<double>& squares,
                                          const std::vector<HarmonicGroup>& groups) const;
  double harmonic(const std::vector<double>& squares, std::size_t order) const;

  std::size_t cycles_;
  std::size_t lines_;
  std::vector<double> v_squares_;  // (lines): sums over the windows
  std::vector<double> i_squares_;
  std::vector<Complex>
      v_phasors_;  // (orders): turned so that the voltage's fundamental has phase 0
  std::vector<Complex> i_phasors_;
  Complex fundamental_VA_;
  std::size_t windows_ = 0;
};

void LineTally::add(const PairLines& lines) {
  ++windows_;
  for (std::size_t k = 0; k < lines_; ++k) {
    v_squares_[k] += std::norm(lines.v[k]);
    i_squares_[k] += std::norm(lines.i[k]);
  }
  const Complex first = lines.v[cycles_];
  fundamental_VA_ += first * std::conj(lines.i[cycles_]);
  const double size = std::abs(first);
  const Complex back = size > 0.0 ? std::conj(first) / size : Complex(1.0, 0.0);
  Complex turn(1.0, 0.0);
  for (std::size_t order = 0; order < v_phasors_.size(); ++order) {
    v_phasors_[order] += lines.v[order * cycles_] * turn;
    i_phasors_[order] += lines.i[order * cycles_] * turn;
    turn *= back;
  }
}

std::vector<double> LineTally::mean_squares(const std::vector<double>& sums) const {
  std::vector<double> squares = sums;
  for (double& square : squares)
    square /= static_cast<double>(windows_);
  return squares;
}

// Mean square of the noise at line k: the median of the lines between the orders before and after
// it, over what the median of a mean of so many exponentially distributed squares is (Wilson and
// Hilferty's cube root).
double LineTally::noise(const std::vector<double>& squares, std::size_t k) const {
  std::vector<double> beside;
  for (std::size_t offset = between_first; offset + between_first <= cycles_; ++offset) {
    beside.push_back(squares[k - offset]);
    if (k + offset < squares.size()) beside.push_back(squares[k + offset]);
  }
  const auto middle = beside.begin() + static_cast<std::ptrdiff_t>(beside.size() / 2);
  std::nth_element(beside.begin(), middle, beside.end());
  const double root = 1.0 - 1.0 / (9.0 * static_cast<double>(windows_));
  return *middle / (root * root * root);
}

double LineTally::harmonic(const std::vector<double>& squares, std::size_t order) const {
  const double square = squares[order * cycles_];
  if (order < 2) return std::sqrt(square);
  return std::sqrt(std::max(0.0, square - noise(squares, order * cycles_)));
}

std::optional<Distortion> LineTally::distortion_of(const std::vector<double>& squares,
                                                   const std::vector<HarmonicGroup>& groups) const {
  if (groups.size() < 3 || groups[1].harmonic <= 0.0) return std::nullopt;
  Distortion result = distortion(groups);
  double sum =
      0.0;  // parts may be below 0 where there is only noise: then the sum is right, not they
  for (std::size_t order = 2; order < groups.size(); ++order)
    sum += squares[order * cycles_] - noise(squares, order * cycles_);
  result.thd = std::sqrt(std::max(0.0, sum)) / groups[1].harmonic;
  return result;
}

double sine_phase_rad(const Complex& phasor, std::size_t order) {
  if (phasor == Complex(0.0, 0.0)) return 0.0;
  if (order == 0) return phasor.real() < 0.0 ? pi : 0.0;
  // From cosines about the fundamental's crest to sines from its rise through zero.
  const double phase_rad = std::arg(phasor) + 0.5 * pi * (1.0 - static_cast<double>(order % 4));
  const double wrapped_rad = std::remainder(phase_rad, 2.0 * pi);
  return wrapped_rad <= -pi ? pi : wrapped_rad;
}

void LineTally::finish(AlternatingPower& result) const {
  const std::vector<double> v = mean_squares(v_squares_);
  const std::vector<double> i = mean_squares(i_squares_);
  result.voltage_groups = harmonic_groups(v, static_cast<int>(cycles_));
  result.current_groups = harmonic_groups(i, static_cast<int>(cycles_));
  result.voltage_distortion = distortion_of(v, result.voltage_groups);
  result.current_distortion = distortion_of(i, result.current_groups);
  for (std::size_t order = 0; order < v_phasors_.size(); ++order) {
    const PairHarmonic one{.voltage_V = harmonic(v, order),
                           .current_A = harmonic(i, order),
                           .voltage_phase_rad = sine_phase_rad(v_phasors_[order], order),
                           .current_phase_rad = sine_phase_rad(i_phasors_[order], order)};
    result.voltage_groups[order].harmonic = one.voltage_V;
    result.current_groups[order].harmonic = one.current_A;
    result.harmonics.push_back(one);
  }
  const auto windows = static_cast<double>(windows_);
  result.windows = windows_;
  result.parts.fundamental_voltage_V = result.harmonics[1].voltage_V;
  result.parts.fundamental_current_A = result.harmonics[1].current_A;
  result.parts.fundamental_active_power_W = fundamental_VA_.real() / windows;
  result.parts.fundamental_reactive_power_var = fundamental_VA_.imag() / windows;
}

double found_frequency_Hz(std::span<const PairStretch> stretches, double sample_rate_hz,
                          const FrequencyRange& range, std::string_view where) {
  for (const PairStretch& stretch : stretches) {
    const auto found = coarse_frequency_Hz(stretch.voltage_V, sample_rate_hz, range);
    if (found) return *found;
  }
  throw base::BadInput(
      where,
      fmt::format("no fundamental from {:g} to {:g} Hz found in the voltage", range.lowest_Hz,
                  range.highest_Hz),
      "a gapless stretch of ten cycles or more of a voltage whose strongest line holds 5 % of its "
      "alternating power");
}

// Frequencies of all windows, lowest, highest and mean over time.
void take_frequencies(const std::vector<CutStretch>& stretches, std::string_view where,
                      AlternatingPower& result) {
  double cycles = 0.0;
  double seconds = 0.0;
  for (const CutStretch& stretch : stretches) {
    for (const TimeWindow& window : stretch.windows) {
      const double f_Hz = window.frequency_Hz;
      const bool first = seconds == 0.0;
      result.lowest_frequency_Hz = first ? f_Hz : std::min(result.lowest_frequency_Hz, f_Hz);
      result.highest_frequency_Hz = first ? f_Hz : std::max(result.highest_frequency_Hz, f_Hz);
      cycles += result.cycles;
      seconds += result.cycles / f_Hz;
    }
  }
  if (seconds == 0.0) return;
  result.frequency_Hz = cycles / seconds;
  if (result.highest_frequency_Hz > (1.0 + steady_within) * result.lowest_frequency_Hz) {
    throw base::BadInput(where,
                         fmt::format("the frequency goes from {:.4g} to {:.4g} Hz",
                                     result.lowest_frequency_Hz, result.highest_frequency_Hz),
                         "a part of it in which it stays within a tenth");
  }
}

[[noreturn]] void refuse_as_too_short(std::span<const PairStretch> stretches, double sample_rate_hz,
                                      const Cut& how, std::string_view where) {
  std::size_t longest = 0;
  for (const PairStretch& stretch : stretches)
    longest = std::max(longest, stretch.voltage_V.size());
  const double length_s = static_cast<double>(longest) / sample_rate_hz;
  throw base::BadInput(
      where,
      fmt::format("{:.4g} s without a gap are {:.3g} cycles of {:.4g} Hz", length_s,
                  length_s * how.guess_Hz, how.guess_Hz),
      fmt::format("{} cycles, {:.4g} s, or more", how.cycles, how.cycles / how.guess_Hz));
}

void look_at(const CutStretch& stretch, const TimeWindow& window, double sample_rate_hz,
             Seen& seen) {
  const ExactWindow full(window.begin_s * sample_rate_hz, window.end_s * sample_rate_hz,
                         stretch.full_ramp);
  const auto v = stretch.full_v.subspan(full.first(), full.size());
  const auto i = stretch.full_i.subspan(full.first(), full.size());
  const std::size_t lead = full.lead().size();
  const std::size_t tail = full.tail().size();
  const std::size_t whole = full.size() - lead - tail;
  add(v.first(lead), i.first(lead), full.lead(), seen.sums);
  add(v.subspan(lead, whole), i.subspan(lead, whole), seen.sums);
  add(v.last(tail), i.last(tail), full.tail(), seen.sums);
  seen.widen(v, i);
}

PairLines lines_of(const CutStretch& stretch, const TimeWindow& window, std::size_t lines,
                   ExactLines& finder) {
  const ExactWindow exact((window.begin_s - stretch.first_s) * stretch.rate_hz,
                          (window.end_s - stretch.first_s) * stretch.rate_hz, stretch.ramp);
  const double spacing = 1.0 / ((window.end_s - window.begin_s) * stretch.rate_hz);
  return finder.of(stretch.v().subspan(exact.first(), exact.size()),
                   stretch.i().subspan(exact.first(), exact.size()), exact, spacing, lines);
}

void take_gain_out(const Gains& gains, double spacing, PairLines& lines) {
  for (std::size_t k = 0; k < lines.v.size(); ++k) {
    const double gain = gains.at(static_cast<double>(k) * spacing);
    lines.v[k] /= gain;
    lines.i[k] /= gain;
  }
}

// Sums of all windows; their lines go into the tally.
Seen looked_at(const std::vector<CutStretch>& stretches, double sample_rate_hz, const Gains& gains,
               LineTally& tally) {
  ExactLines finder;
  Seen seen;
  for (const CutStretch& stretch : stretches) {
    for (const TimeWindow& window : stretch.windows) {
      look_at(stretch, window, sample_rate_hz, seen);
      PairLines lines = lines_of(stretch, window, tally.lines(), finder);
      if (stretch.thinned()) {
        take_gain_out(gains, 1.0 / ((window.end_s - window.begin_s) * sample_rate_hz), lines);
      }
      tally.add(lines);
    }
  }
  return seen;
}

}  // namespace

PairPower pair_power(std::span<const PairStretch> stretches, double sample_rate_hz,
                     const FrequencyRange& range, std::string_view where) {
  PairPower direct = power_of(all_samples(stretches, where), sample_rate_hz);
  if (direct.voltage.ripple_rms <= direct_below * std::abs(direct.voltage.mean)) return direct;
  const double guess_Hz = found_frequency_Hz(stretches, sample_rate_hz, range, where);
  const int cycles = guess_Hz < twelve_cycles_from_Hz ? 10 : 12;
  const double widest_Hz = (1.0 + steady_within) * (most_orders + 0.5) * guess_Hz;
  const Cut how{.sample_rate_hz = sample_rate_hz,
                .cycles = cycles,
                .guess_Hz = guess_Hz,
                .filter = Decimation(widest_Hz / sample_rate_hz)};
  AlternatingPower alternating{};
  alternating.cycles = cycles;
  std::vector<CutStretch> ready;
  for (const PairStretch& stretch : stretches)
    ready.push_back(cut(stretch, how));
  take_frequencies(ready, where, alternating);
  if (alternating.frequency_Hz == 0.0) refuse_as_too_short(stretches, sample_rate_hz, how, where);
  alternating.bandwidth = bandwidth(sample_rate_hz, alternating.highest_frequency_Hz);
  if (alternating.bandwidth.highest_order < 1) {
    throw base::BadInput(where,
                         fmt::format("{:.6g} samples a second are too few for {:.4g} Hz",
                                     sample_rate_hz, alternating.highest_frequency_Hz),
                         fmt::format("at least {:.4g}", 4.0 * alternating.highest_frequency_Hz));
  }
  LineTally tally(cycles, alternating.bandwidth.highest_order);
  const Gains gains(how.filter, alternating.frequency_Hz / cycles / sample_rate_hz, tally.lines());
  const Seen seen = looked_at(ready, sample_rate_hz, gains, tally);
  PairPower result = power_of(seen, sample_rate_hz);
  tally.finish(alternating);
  alternating.parts.voltage_rms_V = result.voltage.rms;
  alternating.parts.current_rms_A = result.current.rms;
  alternating.parts.active_power_W = result.active_power_W;
  alternating.terms = power_terms(alternating.parts);
  result.alternating = std::move(alternating);
  return result;
}

}  // namespace windwright::signal
