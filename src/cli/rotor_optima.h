// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "cli/rotor_sweep.h"
#include "physics/rotor_optimum.h"

#include <boost/json/fwd.hpp>

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// The best of a sweep: `over` says what was free to find it: the tip-speed ratio alone, pitch too,
/// or also the blade count.
struct SweepOptimum {
  const char* over;                // tip_speed_ratio, pitch, blade_count
  std::optional<int> blade_count;  // nothing, with the next two: not inside the sweep
  std::optional<double> pitch_deg;
  std::optional<physics::RotorOptimum> optimum;
};
/// One for each blade count and pitch; where several pitches were asked for one for each blade
/// count over them; where several blade counts were asked for the best of all. Nothing where the
/// sweep has fewer than three tip-speed ratios.
std::vector<SweepOptimum> sweep_optima(const RotorSweep& sweep);

/// One row each; empty cells: not inside the sweep.
std::string optima_csv(const std::vector<SweepOptimum>& optima);
/// The same names; null: not inside the sweep.
boost::json::array optima_json(const std::vector<SweepOptimum>& optima);
/// What a reader must know, a line each.
std::vector<std::string> notes(const std::vector<SweepOptimum>& optima);

}  // namespace windwright::cli
