// SPDX-License-Identifier: Apache-2.0
#include "analysis/remarks.h"

#include <fmt/format.h>

#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

namespace {

std::string points_text(const std::set<int>& points) {
  return fmt::format("{} {}", points.size() == 1 ? "point" : "points", fmt::join(points, ", "));
}

}  // namespace

std::set<std::string> channels_of_two_residuals(const std::set<std::string>& inputs) {
  constexpr std::string_view whole = ":residual";
  std::set<std::string> channels;
  for (const std::string& input : inputs) {
    if (!input.ends_with(whole)) continue;
    const auto next = inputs.lower_bound(input + "-");
    if (next != inputs.end() && next->starts_with(input + "-"))
      channels.insert(input.substr(0, input.size() - whole.size()));
  }
  return channels;
}

std::vector<std::string> sentences(const Remarks& remarks) {
  std::vector<std::string> all;
  if (!remarks.unstated.empty()) {
    all.push_back(fmt::format(
        "No uncertainty stated for {}: results that depend on them leave that part out.",
        fmt::join(remarks.unstated, ", ")));
  }
  if (!remarks.unsettled.empty()) {
    all.push_back(
        fmt::format("Measured before it had settled, shown, and left out of the fits: {}.",
                    points_text(remarks.unsettled)));
  }
  for (const auto& [channel, points] : remarks.beyond_certificate) {
    all.push_back(fmt::format(
        "{} was read outside the range of its calibration, where the curve is carried on and its "
        "uncertainty may not hold: {}.",
        channel, points_text(points)));
  }
  all.insert(all.end(), remarks.sentences.begin(), remarks.sentences.end());
  return all;
}

}  // namespace windwright::analysis
