// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>

namespace windwright::twin {

/// What moves, among the equations of the plant.
enum Moving : std::size_t {
  rotor_speed,
  rotor_angle,
  mean_air_speed,
  lamp_temperature,
  lagging_inflow,
  induced_air_speed,
  moving
};

/// A stretch without event, with its rates at both ends: a cubic between them is as good as the
/// integration, as it is shorter than any time constant.
struct Piece {
  double start_s;
  double end_s;
  std::array<double, moving> first;
  std::array<double, moving> first_rates;
  std::array<double, moving> last;
  std::array<double, moving> last_rates;
  bool at_rest;
};
double value_in(const Piece& piece, Moving what, double time_s);

/// Direct voltage and current at the start, the middle and the end of a piece. A parabola through
/// them is good to 1e-6 and cheaper than solving the bridge for every sample.
struct DirectCurrent {
  bool known;
  std::array<double, 3> voltage_V;
  std::array<double, 3> current_A;
};
/// @param values  at the start, the middle and the end
/// @param part    of the piece that has gone, 0 to 1
double parabola(const std::array<double, 3>& values, double part);

}  // namespace windwright::twin
