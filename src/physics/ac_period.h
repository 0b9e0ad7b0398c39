// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/inverter.h"
#include "physics/load_set.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace windwright::physics {

/// One period of the AC terminals in its steady state, as tables of means over equal cells, linear
/// between their middles: what samples are drawn from while the averaged operating point stands.
/// Error against the exact wave: a sine 5e-7 of its peak; an edge is drawn as a ramp two cells wide
/// (1/2048 of a period), which costs a square 0.033 % of its RMS value. 100 kB: keep and refill it.
struct AcPeriod {
  static constexpr std::size_t cells = 4096;
  std::array<double, cells + 1> voltage_V;
  std::array<double, cells + 1> current_A;
  std::array<double, cells + 1> dc_current_A;  // into the inverter, with its ripple
  std::array<double, cells + 1> ripple_V;      // envelope of the switching ripple
  double frequency_Hz;
  double ripple_Hz;
  double ripple_conductance_S;  // of the loads at the switching frequency: resistances only
  bool has_ripple;
};

/// What the AC terminals carry.
struct AcOperation {
  AcSupply supply;
  CarrierRipple ripple;  // amplitude 0: none
  double dc_voltage_V;   // above 0, or 0 for no inverter: DC current 0
  double dc_current_A;   // mean, from inverter_flow
  double dc_ripple_share;
};

/// Fills the tables for the loads that are on, at their present states. A filament's temperature
/// ripples about its state with the power at twice the frequency, to first order in the ripple; an
/// LED lamp repeats the half period that starts with its state, so settle it for a steady wave. The
/// DC current pulsates with the AC power about its mean: I + share (v i - P) / V.
/// @throws BadInput  a DC motor among the loads that are on; a supply without meaning
void tabulate(const AcOperation& operation, std::span<const SwitchedLoad> loads, AcPeriod& period);

/// Where a wave stands, in 2^-64 of a turn, so that it wraps without loss and never drifts.
struct WavePhase {
  std::uint64_t output = 0;
  std::uint64_t ripple = 0;
};

/// Samples to fill; an empty span is skipped, others are equally long.
struct WaveBlock {
  std::span<double> voltage_V;
  std::span<double> current_A;
  std::span<double> dc_current_A;
};

/// Fills a block of samples, one every interval_s from the phase given, as an ideal sampler takes
/// them: a ripple above half the sample rate appears at its alias. No allocation. A ripple adds two
/// more table readings a sample.
/// @return the phase of the sample after the last, for the next block
/// @throws BadInput  spans of different lengths; an interval not above 0
WavePhase fill(const AcPeriod& period, WavePhase start, double interval_s, const WaveBlock& block);

}  // namespace windwright::physics
