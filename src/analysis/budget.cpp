// SPDX-License-Identifier: Apache-2.0
#include "analysis/budget.h"

#include "analysis/results.h"
#include "bench/bench.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

// The line that an input belongs to.
struct Line {
  std::string input;
  std::string meaning;
};

std::string in_words(std::string_view channel, const bench::Bench* bench) {
  if (bench != nullptr) {
    for (const bench::Channel& each : bench->channels) {
      if (each.name == channel && !each.long_name.empty()) return each.long_name;
    }
  }
  return std::string(channel);
}

constexpr std::array<std::pair<std::string_view, std::string_view>, 14> whole_names{{
    {"air_speed:position", "air speed: from the sensor's place to the rotor disc"},
    {"air_speed:profile", "air speed: unevenness across the rotor disc"},
    {"air_speed:unresolved-turbulence", "air speed: turbulence that its sensor does not follow"},
    {"tunnel:wall-correction", "tunnel: theory of the correction for its walls"},
    {"tunnel:theory-thrust", "tunnel: predicted thrust that the wall correction starts from"},
    {"rotor:tip-radius", "rotor: tip radius"},
    {"air-density:equation", "air density: the equation itself"},
    {"generator:rectifier-loss", "generator: modelled rectifier loss"},
    {"generator:winding-loss", "generator: modelled winding loss"},
    {"generator:iron-loss", "generator: modelled iron loss"},
    {"generator:bearing-loss", "generator: modelled bearing loss"},
    {"lack-of-fit", "curve: scatter of the points about the fit beyond their own"},
    {"degree-of-fit", "curve: choice of the polynomial's degree"},
    {"pitch_deg:setting", "blades: how well the pitch was set"},
}};

Line line_of(const std::string& input, const bench::Bench* bench) {
  const std::string name = input.substr(0, input.find('#'));
  if (name.starts_with("random-") && name.size() > 7 &&
      std::isdigit(static_cast<unsigned char>(name[7])) == 0) {
    const std::string quantity = name.substr(7);
    return {name,
            fmt::format("{}: random, independent from point to point", in_words(quantity, bench))};
  }
  if (name.starts_with("random")) {
    return {"random", "scatter of the samples: turbulence, noise, finite dwell"};
  }
  if (name.starts_with("degree-of-fit-")) {
    return {"degree-of-fit", "curve: choice of the polynomials' common degree"};
  }
  for (const auto& [known, meaning] : whole_names) {
    if (name == known) return {name, std::string(meaning)};
  }
  const auto colon = name.find(':');
  if (colon == std::string::npos) return {name, name};
  const std::string channel = name.substr(0, colon);
  const std::string part = name.substr(colon + 1);
  const std::string words = in_words(channel, bench);
  if (part.starts_with("calibration") || part.starts_with("residual")) {
    return {channel + ":calibration", words + ": calibration curve and its residuals"};
  }
  if (part.starts_with("standard")) {
    return {channel + ":standard", words + ": reference standard of its calibration"};
  }
  if (part == "drift") return {name, words + ": drift since its calibration"};
  return {name, fmt::format("{}: {}", words, part)};
}

// Lines that would read 0.0 % become one.
std::vector<BudgetLine> with_small_ones_together(std::vector<BudgetLine> lines) {
  constexpr double smallest_pct = 0.05;
  const auto small = std::find_if(lines.begin(), lines.end(), [](const BudgetLine& line) {
    return line.share_pct < smallest_pct;
  });
  const auto count = lines.end() - small;
  if (count < 2) return lines;
  BudgetLine rest{.input = "others",
                  .meaning = fmt::format("{} more inputs, each below {} %", count, smallest_pct),
                  .u = 0.0,
                  .share_pct = 0.0};
  for (auto line = small; line != lines.end(); ++line) {
    rest.u = std::hypot(rest.u, line->u);
    rest.share_pct += line->share_pct;
  }
  lines.erase(small, lines.end());
  lines.push_back(std::move(rest));
  return lines;
}

}  // namespace

std::vector<BudgetLine> budget_of(const metrology::Estimate& estimate, const bench::Bench* bench) {
  std::map<std::string, std::pair<std::string, double>> variances;
  double sum = 0.0;
  for (const auto& [input, contribution] : estimate.contributions()) {
    Line line = line_of(input, bench);
    const double variance = contribution.u * contribution.u;
    auto& entry = variances[std::move(line.input)];
    entry.first = std::move(line.meaning);
    entry.second += variance;
    sum += variance;
  }
  std::vector<BudgetLine> lines;
  for (const auto& [input, entry] : variances) {
    if (entry.second <= 0.0) continue;
    lines.push_back({.input = input,
                     .meaning = entry.first,
                     .u = std::sqrt(entry.second),
                     .share_pct = 100.0 * entry.second / sum});
  }
  std::stable_sort(lines.begin(), lines.end(), [](const BudgetLine& a, const BudgetLine& b) {
    return a.share_pct > b.share_pct;
  });
  return with_small_ones_together(std::move(lines));
}

}  // namespace windwright::analysis
