// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {

/// As set, else as in the rotor's file.
/// @param settings  of actuators, by name
int blade_count(const bench::Bench& bench, const std::map<std::string, double>& settings);

/// What theory expects where a bench settles, before anyone runs it there.
struct Foreseen {
  double air_speed_m_s;
  std::optional<double> rotor_speed_rad_s;  // nothing: it comes to rest, or runs away
  std::optional<double> tip_speed_ratio;
  std::optional<double> dc_power_W;
  std::optional<double> cp;  // rotor
  bool below_cut_in = false;
  std::vector<std::string> trips;  // interlocks whose bound lies below what is expected
  /// What is wrong: trips, no_wind, no_balance (it does not keep turning, or runs away), too_slow;
  /// empty: nothing.
  std::string code;
  std::string remark;  // the same in words
};

/// Rotor and generator in balance at the fan's air speed, in the air of the simulation or standard
/// air, with the load that the settings connect; lamps as hot as they are rated. Expected means are
/// held against the bounds of interlocks of the bench's channels; what fluctuates may trip earlier.
/// @param settings  of actuators, by name; fan_pct has to be there
/// @return  nothing for a bench with a battery, or without a fan's setting: theory here does not
///          say
std::optional<Foreseen> foresee(const bench::Bench& bench,
                                const std::map<std::string, double>& settings);

}  // namespace windwright::analysis
