// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// Means of a short stretch of samples while they come in: what the energy chain is drawn from.
struct StretchMeans {
  /// Of channels and of powers (means of products of samples), by name.
  std::map<std::string, double, std::less<>> means;
  double air_speed_cubed_m3_s3;                 // mean of the sensor's cube
  std::map<std::string, double> settings = {};  // of actuators, as far as known
};

/// Power from one stage to the next, positive from wind to load; and what it would be by theory.
struct LiveFlow {
  std::string from;
  std::string to;
  std::optional<double> measured_W = {};
  std::optional<double> predicted_W = {};
  std::string basis = "unknown";  // measured, model
};

struct LiveStage {
  std::string name;
  std::string long_name;
  std::optional<double> lost_W = {};  // what goes in less what goes out, where both are known
};

struct LiveChain {
  std::vector<LiveStage> stages;  // from wind to load
  std::vector<LiveFlow> flows;
  /// tip_speed_ratio, cp_shaft, cp_electrical, predicted_cp_shaft, predicted_cp_electrical,
  /// air_density_kg_m3, as far as they are known.
  std::map<std::string, double> numbers;
};

/// The stages of a bench's chain, without powers.
std::vector<LiveStage> stages_of(const bench::Bench& bench);

/// Wind, shaft and generator power as a test point of these means is reduced (point_result), beside
/// them what theory predicts at this air speed and rotor speed (physics::operating_point). Without
/// uncertainty: for looking at, results come from the recorded counts.
/// @return  nothing where a channel that it needs has no value
std::optional<LiveChain> live_chain(const bench::Bench& bench, const StretchMeans& stretch);

}  // namespace windwright::analysis
