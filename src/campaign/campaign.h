// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::campaign {

/// What a campaign varies: one actuator and the values it takes.
struct Factor {
  std::string actuator;
  std::vector<double> levels;
  bool hard_to_change;  // stays the same inside a block
};

struct Setting {
  std::string actuator;
  double value;
  std::string position = {};  // of a selector, by name, instead of the value; else empty
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
  std::filesystem::path bench_file;  // absolute: the one given, or from `bench = "bench.toml"`
  std::filesystem::path bench_name;  // as the campaign names it, relative to its folder
  std::string operator_name;
  std::uint64_t seed;  // order of the test points
  Question question;
  std::vector<Factor> factors;
  std::vector<Setting> constants;  // actuators held all through
  std::vector<Setting> run_up;  // instead of the test point's own, while the fan starts the rotor
  int repeats;
  Pace pace;
  std::map<std::string, std::string> places;  // `file:line` by actuator, and of `pace`
};

/// Reads and checks a campaign: docs/files.md.
/// @param bench  to be used instead of the bench that the campaign names
/// @throws BadInput  with file and line
Campaign campaign_from_file(const std::filesystem::path& file,
                            const std::optional<std::filesystem::path>& bench = std::nullopt);
/// The same of a text that is not in its file yet.
/// @param file  where it will be, for messages and what is relative to it
Campaign campaign_from_text(const std::string& text, const std::filesystem::path& file,
                            const std::optional<std::filesystem::path>& bench = std::nullopt);
/// Checks factors and constants against the bench's actuators and their limits, and the pace
/// against its block length.
/// @throws BadInput
void require_fits(const Campaign& campaign, const bench::Bench& bench);
/// What the actuator is commanded: the value, or the index of the position's name.
/// @throws BadInput  the bench has no such actuator or position
double commanded_value(const Setting& setting, const bench::Bench& bench);

/// Blocks (one per combination of hard-to-change levels) in random order, and in random order
/// inside them every combination of the other levels, `repeats` times each (Fisher and Yates with
/// the campaign's seed). Same campaign, same plan. Source of the layout (hard-to-change factors as
/// blocks, random order inside): common practice for split-plot designs, no source.
std::vector<PlannedPoint> plan(const Campaign& campaign);

}  // namespace windwright::campaign
