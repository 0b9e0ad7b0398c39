// SPDX-License-Identifier: Apache-2.0
#pragma once

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

/// Statistics of a CSV of samples.
/// @return  exit code: 1 where a channel drifts or holds an outlier
int reduce_statistics(const std::string& file, const StatisticsRequest& request, bool json);

}  // namespace windwright::cli
