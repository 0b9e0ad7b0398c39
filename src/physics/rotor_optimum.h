// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

#include <optional>
#include <span>

namespace windwright::physics {

/// What is held while the tip-speed ratio changes.
struct OperatingLine {
  RotorFlow flow;                         // the speed that is not held is not used
  bool holds_rotor_speed = false;         // false: the air speed is held and the rotor's changes
  std::optional<double> section_area_m2;  // of a closed test section; nothing: open air
};

/// Tip-speed ratios on both sides of the optimum; nothing where the sweep ends before.
struct RatioRange {
  std::optional<double> from;
  std::optional<double> to;
};

struct RotorOptimum {
  double pitch_rad;
  RotorFlow flow;               // of the optimum
  RotorLoad load;               // there
  RatioRange within_1_percent;  // where cp at this pitch is at least 99 % of the largest: flatness
  RatioRange within_5_percent;
};

/// The largest power coefficient over the tip-speed ratio at the rotor's own pitch, and how flat
/// the curve is around it.
///
/// The sweep only shows where to look. If one of its inner ratios gives more than both ends do, the
/// largest is sought between that one's neighbours: in 16 steps, then by golden section, which the
/// kinks of tabulated polars do not lead astray, to 1e-5 of the ratio. The ranges reach to where cp
/// first falls below the share on the sweep, refined there by halving to 1e-5. A curve with a
/// second summit narrower than the sweep's steps, or a dip, needs a finer sweep.
/// @param rotor             its pitch is used
/// @param line              the held speed above 0
/// @param tip_speed_ratios  ascending, above 0 where the rotor's speed is held
/// @return                  nothing if the largest is not inside the sweep or no power is given
/// @throws BadInput         as rotor_load and rotor_in_tunnel; ratios not ascending
std::optional<RotorOptimum> optimum_over_ratio(const Rotor& rotor, const OperatingLine& line,
                                               std::span<const double> tip_speed_ratios,
                                               const RotorOptions& options = {});

/// The same over tip-speed ratio and pitch together: golden section over the pitch between the
/// neighbours of the best pitch of the sweep, to 1e-4 rad, each with its own optimum over the
/// ratio.
/// @param pitches_rad  ascending
/// @return             nothing if the largest is not inside both sweeps
std::optional<RotorOptimum> optimum_over_ratio_and_pitch(const Rotor& rotor,
                                                         const OperatingLine& line,
                                                         std::span<const double> tip_speed_ratios,
                                                         std::span<const double> pitches_rad,
                                                         const RotorOptions& options = {});

}  // namespace windwright::physics
