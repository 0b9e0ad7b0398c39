// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "signal/spectrum.h"

#include <string_view>
#include <vector>

namespace windwright::analysis {

/// Where in a spectrum something that turns shows itself, and how strongly.
struct TurningLine {
  /// rotor: once a turn (imbalance); blades: every blade once a turn (tower, struts, inlet);
  /// generator: the alternating current, pole pairs times a turn; bridge: the ripple of a
  /// three-phase diode bridge, six times that; harmonic_5, _7, _11, _13: those which such a bridge
  /// asks of the generator (IEC 60146-1-1, pulse number 6, orders 6 k - 1 and 6 k + 1; from
  /// memory).
  std::string_view code;
  double true_Hz;
  /// Where it is seen: what lies beyond half the sampling rate is folded back below it, where no
  /// filter keeps it out (sampling theorem).
  double frequency_Hz;
  /// The largest within 1 % of the true frequency or two lines, whichever is more: the rotor's
  /// speed is a mean and the lines have a width.
  double amplitude;
};

/// From the slowest on. None where the rotor does not turn, or so slowly that neighbours cannot be
/// told apart; and none that would be folded onto what is constant.
/// @param spectrum  up to half the sampling rate
std::vector<TurningLine> turning_lines(const bench::Bench& bench, double rotor_speed_rad_s,
                                       int blade_count, const signal::Spectrum& spectrum);

}  // namespace windwright::analysis
