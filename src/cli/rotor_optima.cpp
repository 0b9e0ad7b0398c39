// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_optima.h"

#include "base/text.h"
#include "cli/rotor_sweep.h"
#include "physics/rotor.h"
#include "physics/rotor_optimum.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;

// A value, or a gap where there is none.
using Column = std::pair<const char*, std::optional<double>>;

physics::OperatingLine line_of(const RotorSweep& sweep) {
  return {.flow = {.air_speed_m_s = sweep.speeds.front().air_speed_m_s,
                   .rotor_speed_rad_s = sweep.speeds.front().rotor_speed_rad_s,
                   .density_kg_m3 = sweep.density_kg_m3,
                   .dynamic_viscosity_Pa_s = sweep.dynamic_viscosity_Pa_s,
                   .yaw_rad = sweep.yaw_rad},
          .holds_rotor_speed = !sweep.speeds.front().tip_speed_ratio,
          .section_area_m2 = sweep.section_area_m2};
}

// Ascending, without still air, which has no ratio.
std::vector<double> ratios_of(const RotorSweep& sweep) {
  std::vector<double> ratios;
  for (const AirAndSpeed& one : sweep.speeds) {
    if (!(one.air_speed_m_s > 0.0)) continue;
    ratios.push_back(one.tip_speed_ratio.value_or(one.rotor_speed_rad_s * sweep.rotor.tip_radius_m /
                                                  one.air_speed_m_s));
  }
  std::sort(ratios.begin(), ratios.end());
  ratios.erase(std::unique(ratios.begin(), ratios.end()), ratios.end());
  return ratios;
}

// All of one blade count; the last of them is that count's best.
std::vector<SweepOptimum> optima_of(const RotorSweep& sweep, const std::vector<double>& ratios,
                                    int blade_count) {
  std::vector<SweepOptimum> optima;
  const physics::OperatingLine line = line_of(sweep);
  physics::Rotor rotor = sweep.rotor;
  rotor.blades = blade_count;
  std::vector<double> pitches_rad;
  for (const double pitch_deg : sweep.pitches_deg) {
    rotor.pitch_rad = pitch_deg * degree;
    pitches_rad.push_back(rotor.pitch_rad);
    optima.push_back({"tip_speed_ratio", blade_count, pitch_deg,
                      physics::optimum_over_ratio(rotor, line, ratios, sweep.method)});
  }
  if (pitches_rad.size() < 2) return optima;
  std::sort(pitches_rad.begin(), pitches_rad.end());
  auto best = physics::optimum_over_ratio_and_pitch(rotor, line, ratios, pitches_rad, sweep.method);
  std::optional<double> pitch_deg;
  if (best) pitch_deg = best->pitch_rad / degree;
  optima.push_back({"pitch", blade_count, pitch_deg, std::move(best)});
  return optima;
}

std::vector<Column> columns(const SweepOptimum& one) {
  std::optional<double> count;
  if (one.blade_count) count = *one.blade_count;
  std::vector<Column> all{{"blade_count", count}, {"pitch_deg", one.pitch_deg}};
  const auto add = [&](const char* name, auto&& value) {
    all.emplace_back(name, one.optimum ? std::optional<double>(value(*one.optimum)) : std::nullopt);
  };
  using physics::RotorOptimum;
  add("tip_speed_ratio", [](const RotorOptimum& it) { return it.load.tip_speed_ratio; });
  add("cp", [](const RotorOptimum& it) { return it.load.cp; });
  add("cq", [](const RotorOptimum& it) { return it.load.cq; });
  add("ct", [](const RotorOptimum& it) { return it.load.ct; });
  const physics::RatioRange none;
  const auto& within_1 = one.optimum ? one.optimum->within_1_percent : none;
  const auto& within_5 = one.optimum ? one.optimum->within_5_percent : none;
  all.emplace_back("within_1_percent_from", within_1.from);
  all.emplace_back("within_1_percent_to", within_1.to);
  all.emplace_back("within_5_percent_from", within_5.from);
  all.emplace_back("within_5_percent_to", within_5.to);
  add("air_speed_m_s", [](const RotorOptimum& it) { return it.flow.air_speed_m_s; });
  add("rotor_speed_rad_s", [](const RotorOptimum& it) { return it.flow.rotor_speed_rad_s; });
  add("power_W", [](const RotorOptimum& it) { return it.load.power_W; });
  return all;
}

}  // namespace

std::vector<SweepOptimum> sweep_optima(const RotorSweep& sweep) {
  const std::vector<double> ratios = ratios_of(sweep);
  std::vector<SweepOptimum> optima;
  if (ratios.size() < 3) return optima;
  SweepOptimum best{"blade_count", std::nullopt, std::nullopt, std::nullopt};
  bool all_inside = true;
  for (const int blade_count : sweep.blade_counts) {
    const auto some = optima_of(sweep, ratios, blade_count);
    optima.insert(optima.end(), some.begin(), some.end());
    const SweepOptimum& last = some.back();
    all_inside = all_inside && last.optimum;
    if (last.optimum && (!best.optimum || last.optimum->load.cp > best.optimum->load.cp)) {
      best = last;
      best.over = "blade_count";
    }
  }
  // One whose largest lies outside the sweep may be better than all that were found.
  if (!all_inside) best = {"blade_count", std::nullopt, std::nullopt, std::nullopt};
  if (sweep.blade_counts.size() > 1) optima.push_back(best);
  return optima;
}

std::string optima_csv(const std::vector<SweepOptimum>& optima) {
  std::string text;
  for (const SweepOptimum& one : optima) {
    const auto all = columns(one);
    if (text.empty()) {
      text = "over";
      for (const auto& [name, value] : all)
        text += fmt::format(",{}", name);
      text += '\n';
    }
    text += one.over;
    for (const auto& [name, value] : all)
      text += value ? ',' + base::number_text(*value) : ",";
    text += '\n';
  }
  return text;
}

boost::json::array optima_json(const std::vector<SweepOptimum>& optima) {
  boost::json::array rows;
  for (const SweepOptimum& one : optima) {
    boost::json::object row{{"over", one.over}};
    for (const auto& [name, value] : columns(one))
      row[name] = value ? boost::json::value(*value) : boost::json::value(nullptr);
    row["inside_sweep"] = one.optimum.has_value();
    rows.push_back(std::move(row));
  }
  return rows;
}

std::vector<std::string> notes(const std::vector<SweepOptimum>& optima) {
  const auto outside = std::count_if(optima.begin(), optima.end(),
                                     [](const SweepOptimum& one) { return !one.optimum; });
  const auto open = std::count_if(optima.begin(), optima.end(), [](const SweepOptimum& one) {
    if (!one.optimum) return false;
    const auto& range = one.optimum->within_5_percent;
    return !range.from || !range.to;
  });
  const auto above_betz = std::count_if(optima.begin(), optima.end(), [](const SweepOptimum& one) {
    return one.optimum && one.optimum->load.cp > 16.0 / 27.0;
  });
  std::vector<std::string> lines;
  if (above_betz > 0) {
    lines.push_back(fmt::format(
        "at {} of {} optima cp is above 16/27 because it refers to the tunnel's air speed; the "
        "same sweep without --optimum tells the open-air values",
        above_betz, optima.size()));
  }
  if (outside > 0) {
    lines.push_back(
        fmt::format("{} of {} optima are not inside the sweep: the largest cp lies at an end of it",
                    outside, optima.size()));
  }
  if (open > 0) {
    lines.push_back(fmt::format("at {} of {} optima cp has not fallen by 5 % where the sweep ends",
                                open, optima.size()));
  }
  return lines;
}

}  // namespace windwright::cli
