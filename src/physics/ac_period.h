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

/// A straight line over one cell of a table.
struct WaveCell {
  double start;
  double slope;  // over the whole cell
};
inline constexpr std::size_t wave_cells = 4096;  // of a period
using WaveTable = std::array<WaveCell, wave_cells>;

/// What a sample gains from an edge of the supply to the end of its cell: a line over the cell.
struct WaveEdge {
  std::uint64_t phase;     // of the edge, in 2^-64 of a turn
  std::uint64_t cell_end;  // of its cell
  WaveCell voltage_V;
  WaveCell current_A;
  WaveCell dc_current_A;
};

/// One period of the AC terminals in its steady state: what samples are drawn from while the
/// averaged operating point stands. Straight lines over 4096 cells, exact at their borders, and
/// edges at their very instant. Error against the exact wave: a sine 3e-7 of its peak, pulses to
/// rounding, others as tests/physics/ac_period_test.cpp has them. 230 kB: keep and refill it.
struct AcPeriod {
  WaveTable voltage_V;
  WaveTable current_A;
  WaveTable dc_current_A;  // into the inverter, with its ripple
  WaveTable ripple_V;      // envelope of the switching ripple
  std::array<WaveEdge, 4> edges;
  std::size_t edge_count;
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
/// ripples about its state with the power at twice the frequency (linear heat balance); an
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
/// them: a ripple above half the sample rate appears at its alias, and sampling in step with an
/// edge sees it always from the same side (half an interval of a spike, up to 1.3 % of the RMS
/// current of an LED lamp that charges in 150 us). No allocation. A ripple adds two more table
/// readings a sample.
/// @return the phase of the sample after the last, for the next block
/// @throws BadInput  spans of different lengths; an interval not above 0
WavePhase fill(const AcPeriod& period, WavePhase start, double interval_s, const WaveBlock& block);

}  // namespace windwright::physics
