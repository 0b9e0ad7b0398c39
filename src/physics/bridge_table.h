// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace windwright::physics {

/// A bridge without fault on a stiff direct voltage, in units of its source: `voltage` u = (V_dc +
/// 2 V_diode) / (sqrt3 E), from 0; resistance and reactance over the impedance Z (squares add to
/// 1).
struct BridgePoint {
  double voltage;
  double resistance;
  double reactance;
};

/// In units of E / Z; both 0 from u = 1 upwards.
struct BridgeMeans {
  double dc_current;
  double dc_current_slope;     // with u; never positive
  double line_current_square;  // mean square of one line
};

/// Interpolates bridge_cycle's means. Two numbers tell everything: s = sqrt(1 - u) and c = X / (X +
/// 2.387 R s). Over s^4 / (X + 2.387 R s), the current of one short pulse when resistance or
/// reactance alone limits it, the current is smooth and near 1 for all s and c, also where u goes
/// to 1; the mean square likewise over s^7 / (X + 2.387 R s)^2. Bicubic (Catmull-Rom) on 128 x 64
/// cells, continuous with its slope. Against bridge_cycle: current and rms current within 1e-4 of
/// their value, slope within 1 % (tests/physics/bridge_table_test.cpp has what is reached).
/// The table is computed at the first call, in 0.1 s, not generated into the source: 17 000 numbers
/// would be a file that nobody can read or check. Any thread may call.
BridgeMeans bridge_means(const BridgePoint& point);

/// What is interpolated, for others that must find the same values.
struct BridgeGrid {
  /// s at which the regions begin and end, at 67 values of c from -1/64 in steps of 1/64.
  std::vector<std::vector<double>> boundary;  // (5), each (67)
  std::vector<std::vector<double>> current;   // (4 regions), rows x 67, columns contiguous
  std::vector<std::vector<double>> square;
};
BridgeGrid bridge_grid();

}  // namespace windwright::physics
