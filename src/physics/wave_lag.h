// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_period.h"

#include <cstddef>
#include <span>

namespace windwright::physics {

/// A step within a cell of a table: from `from` (part of the cell) to the cell's end the line is
/// added to the cell's own; its start and slope are those of the whole cell.
struct CellStep {
  std::size_t cell;
  double from;
  WaveCell line;
};

/// Replaces a period by what a first-order lag makes of it when it has repeated for long: exact at
/// the borders of the 4096 cells, straight lines between. A table over another angle than time is
/// one at constant speed.
/// @param frequency_Hz  periods a second, above 0
/// @param bandwidth_Hz  of the lag, above 0; infinity leaves all as it is
/// @param steps         in any order
/// @throws BadInput     a frequency or bandwidth not above 0
/// Source: the response of dy/dt = (x - y) / tau to a ramp; checked in
/// tests/physics/wave_lag_test.cpp against the transfer function.
void pass_lag(double frequency_Hz, double bandwidth_Hz, std::span<const CellStep> steps,
              WaveTable& table);

/// Both channels of the AC terminals behind lags of their own; the steps of each become part of its
/// table where it has a lag, and the switching ripple falls by the lag's gain (its delay, a part of
/// a carrier period, is left out). dc_current_A stays.
/// @throws BadInput  a bandwidth not above 0
void pass_lags(double voltage_bandwidth_Hz, double current_bandwidth_Hz, AcPeriod& period);

}  // namespace windwright::physics
