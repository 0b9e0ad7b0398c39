// SPDX-License-Identifier: Apache-2.0
#include "signal/cycle_windows.h"

#include "signal/ac_power.h"
#include "signal/fundamental.h"
#include "signal/pair_sums.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>

namespace windwright::signal {

namespace {

constexpr double full_ramp = 128.0;
constexpr double thinned_ramp = 32.0;  // enough: the thinned samples hold no line near their limit
constexpr double synchronisation = 3e-4;

CutStretch thinned(const PairStretch& stretch, const Cut& how) {
  CutStretch result{.full_v = stretch.voltage_V,
                    .full_i = stretch.current_A,
                    .full_ramp = full_ramp,
                    .own_v = {},
                    .own_i = {},
                    .rate_hz = how.sample_rate_hz / static_cast<double>(how.filter.step()),
                    .first_s = static_cast<double>(how.filter.middle()) / how.sample_rate_hz,
                    .ramp = thinned_ramp,
                    .windows = {}};
  const std::size_t outputs =
      (stretch.voltage_V.size() - how.filter.taps().size()) / how.filter.step() + 1;
  result.own_v.resize(outputs);
  result.own_i.resize(outputs);
  const std::array<std::span<const double>, 2> from{stretch.voltage_V, stretch.current_A};
  const std::array<std::span<double>, 2> to{result.own_v, result.own_i};
  filter_pair(how.filter.taps(), how.filter.step(), from, to);
  return result;
}

CutStretch unthinned(const PairStretch& stretch, const Cut& how, double ramp) {
  return {.full_v = stretch.voltage_V,
          .full_i = stretch.current_A,
          .full_ramp = ramp,
          .own_v = {},
          .own_i = {},
          .rate_hz = how.sample_rate_hz,
          .first_s = 0.0,
          .ramp = ramp,
          .windows = {}};
}

CutStretch made_ready(const PairStretch& stretch, const Cut& how) {
  const auto samples = static_cast<double>(stretch.voltage_V.size());
  const double length = how.cycles / how.guess_Hz * how.sample_rate_hz;
  const auto step = static_cast<double>(how.filter.step());
  const double room =
      full_ramp + thinned_ramp * step + static_cast<double>(how.filter.taps().size());
  if (samples > 1.1 * length + room) {
    return how.filter.step() > 1 ? thinned(stretch, how) : unthinned(stretch, how, full_ramp);
  }
  if (samples < 0.9 * length) return unthinned(stretch, how, 0.0);
  // About one window: every sample counts, so the frequency first.
  const double frequency_Hz = refined_frequency_Hz(
      stretch.voltage_V, how.sample_rate_hz, {.begin = -0.5, .cycles = how.cycles}, how.guess_Hz);
  const double spare = samples - how.cycles / frequency_Hz * how.sample_rate_hz;
  return unthinned(stretch, how, std::clamp(spare, 0.0, full_ramp));
}

}  // namespace

CutStretch cut(const PairStretch& stretch, const Cut& how) {
  CutStretch result = made_ready(stretch, how);
  // A sample stands for the half step before and after it.
  const double begin_s = std::max((0.5 * result.full_ramp - 0.5) / how.sample_rate_hz,
                                  result.first_s + (0.5 * result.ramp - 0.5) / result.rate_hz);
  const double end_s =
      std::min((static_cast<double>(result.full_v.size()) - 0.5 - 0.5 * result.full_ramp) /
                   how.sample_rate_hz,
               result.first_s + (static_cast<double>(result.v().size()) - 0.5 - 0.5 * result.ramp) /
                                    result.rate_hz);
  double frequency_Hz = how.guess_Hz;
  for (double at_s = begin_s;;) {
    const double about_s = how.cycles / frequency_Hz;
    if (at_s + 0.9 * about_s > end_s) break;
    frequency_Hz = refined_frequency_Hz(
        result.v(), result.rate_hz,
        {.begin = (at_s - result.first_s) * result.rate_hz, .cycles = how.cycles}, frequency_Hz);
    const double length_s = how.cycles / frequency_Hz;
    const double slack_s = result.windows.empty() ? synchronisation * length_s : 0.0;
    if (!(length_s > 0.0) || at_s + length_s > end_s + slack_s) break;
    result.windows.push_back(
        {.begin_s = at_s, .end_s = std::min(at_s + length_s, end_s), .frequency_Hz = frequency_Hz});
    at_s += length_s;
  }
  return result;
}

}  // namespace windwright::signal
