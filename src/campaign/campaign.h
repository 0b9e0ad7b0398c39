// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::campaign {

struct Factor {
  std::string actuator;
  std::vector<double> levels;
  bool hard_to_change;
};

struct Setting {
  std::string actuator;
  double value;
};

/// One row of the plan.
struct PlannedPoint {
  int number;                     // from 1, in the order of conduct
  int block;                      // from 1; hard-to-change settings stay the same inside a block
  int repeat;                     // from 1, counts equal settings
  std::vector<Setting> settings;  // every factor, in the order of the file
};

/// What the campaign asks: which level gives the largest `response`?
struct Question {
  std::string text;
  std::string response;              // "maximum_cp" (electrical)
  std::vector<std::string> factors;  // compared: a subset of the hard-to-change factors
  double level = 0.95;               // of confidence
};

struct Pace {
  double settle_window_s;
  double settle_drift_relative;  // a settled window drifts less than this part of its mean
  double longest_settle_s;
  double shortest_dwell_s;
  double longest_dwell_s;
  double target_u_relative;  // random standard uncertainty of the mean DC power
};

struct Campaign {
  std::filesystem::path file;
  std::string text;
  std::string title;
  std::filesystem::path bench_file;  // from `bench = "bench.toml"`, absolute
  std::string operator_name;
  std::uint64_t seed;  // order of the test points
  Question question;
  std::vector<Factor> factors;
  std::vector<Setting> constants;  // actuators held all through
  int repeats;
  Pace pace;
};

/// @throws BadInput  with file and line
Campaign campaign_from_file(const std::filesystem::path& file);
/// Checks factors against the bench's actuators and their limits.
/// @throws BadInput
void require_fits(const Campaign& campaign, const bench::Bench& bench);

/// Blocks (one per combination of hard-to-change levels) and the points inside them in random order
/// (Fisher and Yates with the campaign's seed).
std::vector<PlannedPoint> plan(const Campaign& campaign);

}  // namespace windwright::campaign
