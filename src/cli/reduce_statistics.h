// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace windwright::cli {

/// Options of `reduce --statistics`.
struct StatisticsRequest {
  bool wanted = false;
  std::string channel;
  double drift_pct = 1.0;
  std::vector<const CLI::Option*> options;  // what goes with `wanted` only
};

void add_statistics_options(CLI::App& verb, StatisticsRequest& request);

/// Whose statistics.
struct SamplesRequest {
  std::filesystem::path file;              // CSV of samples, or a recording
  std::optional<analysis::Window> window;  // of a recording
  StatisticsRequest request;
  bool json;
};

/// @return  exit code: 1 where a channel drifts or holds an outlier
int reduce_statistics(const SamplesRequest& samples);

}  // namespace windwright::cli
