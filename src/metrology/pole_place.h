// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/output_landscape.h"
#include "metrology/poles.h"

#include <vector>

namespace windwright::metrology {

/// What an output has where one of its divisors vanishes.
struct PoleFound {
  Pole pole;  // of order 0: none
  bool decided = true;
  /// Places nearby where the divisor vanishes too; where nothing was decided, they may be plainer.
  std::vector<std::vector<double>> beside = {};
};

/// Order and dimension of the pole at a zero of a divisor.
///
/// Where a step behind the divisor has both signs around the place, its zeros divide the inputs'
/// space: if the output goes to infinity there too, away from the place itself, the dimension is 1.
/// Otherwise the output's growth q_v is measured along axes: those inputs that are at a limit, and
/// the principal ones of the growth's slopes. An axis along which the divisor can be followed down
/// to zero again belongs to the pole and does not count. With f between c and C times
/// 1 / max |d_v|^q_v, the chance that f exceeds t goes as t^-alpha, alpha the sum of s_v / q_v,
/// s_v = 1 inside and the limit's dimension at limits; the dimension is q alpha, q that of most
/// directions. Those bounds are tested at random places around, at two distances; where they do not
/// hold, nothing is decided.
/// @param zero  place where the divisor vanishes, in coordinates
PoleFound pole_at(const OutputLandscape& landscape, const Divisor& divisor,
                  const std::vector<double>& zero);

}  // namespace windwright::metrology
