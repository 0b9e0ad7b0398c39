// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "report/drawing.h"

#include <string>
#include <string_view>

/// What the pictures of powers that flow on and leave have in common.
namespace windwright::report::river {

inline constexpr std::string_view water = "#7fa3bd";  // what flows on
inline constexpr std::string_view bank = "#2f5f80";   // a stage
inline constexpr std::string_view lost = "#d3d7da";   // what leaves

struct Loss {
  double thick_px;
  double fall_px;  // by which it sinks
};

/// Path of a band that leaves with its upper edge at `upper`, sinks and ends in a point at `end_x`.
std::string leaving_path(Position upper, const Loss& loss, double end_x);

}  // namespace windwright::report::river
