// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_text.h"

#include "base/json.h"
#include "base/text.h"
#include "cli/rotor_optima.h"
#include "cli/rotor_sweep.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <numbers>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;

using Column = std::pair<const char*, double>;

std::vector<Column> condition(const SweepPoint& point) {
  return {{"tip_speed_ratio", point.span.total.tip_speed_ratio},
          {"pitch_deg", point.pitch_deg},
          {"air_speed_m_s", point.flow.air_speed_m_s},
          {"rotor_speed_rad_s", point.flow.rotor_speed_rad_s}};
}

std::vector<Column> result(const SweepPoint& point) {
  const physics::RotorLoad& load = point.span.total;
  return {{"power_W", load.power_W},
          {"torque_N_m", load.torque_N_m},
          {"thrust_N", load.thrust_N},
          {"cp", load.cp},
          {"cq", load.cq},
          {"ct", load.ct},
          {"blade_count", point.blade_count}};
}

std::vector<Column> result(const physics::ElementLoad& element) {
  return {{"radius_m", element.radius_m},
          {"inflow_angle_deg", element.inflow_angle_rad / degree},
          {"angle_of_attack_deg", element.angle_of_attack_rad / degree},
          {"axial_induction", element.axial_induction},
          {"tangential_induction", element.tangential_induction},
          {"loss_factor", element.loss_factor},
          {"relative_speed_m_s", element.relative_speed_m_s},
          {"reynolds", element.reynolds},
          {"cl", element.cl},
          {"cd", element.cd},
          {"normal_load_N_m1", element.normal_load_N_m1},
          {"tangential_load_N_m1", element.tangential_load_N_m1}};
}

std::string csv_line(const std::vector<Column>& columns, bool header) {
  std::string line;
  for (const auto& [name, value] : columns) {
    if (!line.empty()) line += ',';
    line += header ? std::string(name) : base::number_text(value);
  }
  return line + '\n';
}

void put(boost::json::object& object, const std::vector<Column>& columns) {
  for (const auto& [name, value] : columns)
    object[name] = value;
}

// What the same rotor at the same speed of rotation has in open air, on that air's speed.
boost::json::object open_air(const physics::RotorInTunnel& tunnel) {
  const double ratio = tunnel.disc.free_speed_ratio;
  const physics::RotorLoad& load = tunnel.load;
  return {{"air_speed_m_s", tunnel.free_air_speed_m_s},
          {"tip_speed_ratio", load.tip_speed_ratio / ratio},
          {"cp", load.cp / (ratio * ratio * ratio)},
          {"cq", load.cq / (ratio * ratio)},
          {"ct", load.ct / (ratio * ratio)},
          {"speed_ratio", ratio},
          {"axial_induction", tunnel.disc.free_induction},
          {"beyond_theory", tunnel.disc.held}};
}

boost::json::object json_point(const SweepPoint& point) {
  boost::json::object row;
  put(row, condition(point));
  put(row, result(point));
  row["span_below_reynolds"] = point.span.total.span_below_reynolds;
  row["span_above_reynolds"] = point.span.total.span_above_reynolds;
  row["unconverged_elements"] = point.span.total.unconverged_elements;
  if (point.span.total.unconverged_elements > 0) {
    row["unconverged_radius_m"] = point.span.total.unconverged_radius_m;
  }
  row["largest_residual"] = point.span.total.largest_residual;
  row["yaw_deg"] = point.flow.yaw_rad / degree;
  if (point.tunnel) {
    row["blockage"] = point.tunnel_blockage;
    row["open_air"] = open_air(*point.tunnel);
  }
  if (!point.span.elements.empty()) {
    boost::json::array elements;
    for (const physics::ElementLoad& element : point.span.elements) {
      boost::json::object entry;
      put(entry, result(element));
      elements.push_back(std::move(entry));
    }
    row["elements"] = std::move(elements);
  }
  return row;
}

// The surprise of a narrow tunnel, explained rather than hidden.
void note_on_betz(const std::vector<SweepPoint>& points, std::vector<std::string>& notes) {
  constexpr double betz = 16.0 / 27.0;
  std::size_t above = 0;
  double most_open_air = 0.0;
  double blockage = 0.0;
  for (const SweepPoint& point : points) {
    if (!point.tunnel || point.tunnel->load.cp <= betz) continue;
    ++above;
    const double ratio = point.tunnel->disc.free_speed_ratio;
    most_open_air = std::max(most_open_air, point.tunnel->load.cp / (ratio * ratio * ratio));
    blockage = point.tunnel_blockage;
  }
  if (above == 0) return;
  notes.push_back(fmt::format(
      "at {} of {} points cp is above 16/27 = 0.593 because it refers to the tunnel's air speed: "
      "the walls keep the air from going round the rotor, and a disc that blocks {:.1f} % of the "
      "section may reach {:.3f}; on the open-air speed that gives the same loads these points "
      "reach {:.3f} at most",
      above, points.size(), 100.0 * blockage, physics::largest_cp(blockage), most_open_air));
}

// Where, why, and what was done instead.
void note_on_unconverged(const std::vector<SweepPoint>& points, std::vector<std::string>& notes) {
  std::size_t count = 0;
  const SweepPoint* first = nullptr;
  for (const SweepPoint& point : points) {
    if (point.span.total.unconverged_elements == 0) continue;
    if (count++ == 0) first = &point;
  }
  if (first == nullptr) return;
  notes.push_back(fmt::format(
      "at {} of {} points some blade elements found no inflow angle and Reynolds number that "
      "balance together, the first at radius {:.4g} m, tip-speed ratio {:.4g}, pitch {:.4g} "
      "degrees: "
      "its polars change too sharply there; these elements carry the loads without induction",
      count, points.size(), first->span.total.unconverged_radius_m,
      first->span.total.tip_speed_ratio, first->pitch_deg));
}

}  // namespace

std::string points_csv(const std::vector<SweepPoint>& points) {
  std::string text;
  for (const SweepPoint& point : points) {
    const auto add = [&](const std::vector<Column>& more) {
      auto columns = condition(point);
      columns.insert(columns.end(), more.begin(), more.end());
      if (text.empty()) text = csv_line(columns, true);
      text += csv_line(columns, false);
    };
    if (point.span.elements.empty()) add(result(point));
    for (const physics::ElementLoad& element : point.span.elements) {
      auto columns = result(element);
      columns.emplace_back("blade_count", point.blade_count);
      add(columns);
    }
  }
  return text;
}

std::string points_json(const std::vector<SweepPoint>& points,
                        const std::vector<SweepOptimum>& optima) {
  boost::json::array rows;
  for (const SweepPoint& point : points)
    rows.push_back(json_point(point));
  return base::json_text(
      boost::json::object{{"points", std::move(rows)}, {"optima", optima_json(optima)}});
}

std::string tip_speed_remark(double tip_speed_m_s) {
  constexpr double incompressible_m_s = 100.0;
  if (!(tip_speed_m_s > incompressible_m_s)) return {};
  return fmt::format(
      "; the tip speed goes up to {:.0f} m/s, and above 100 m/s air is no longer incompressible, "
      "as "
      "this theory takes it",
      tip_speed_m_s);
}

std::vector<std::string> notes(const std::vector<SweepPoint>& points) {
  std::vector<std::string> notes;
  const auto say = [&](auto&& concerns, std::string_view what) {
    const auto count = std::count_if(points.begin(), points.end(), concerns);
    if (count > 0)
      notes.push_back(fmt::format("at {} of {} points {}", count, points.size(), what));
  };
  say([](const SweepPoint& point) { return point.span.total.span_below_reynolds > 0.0; },
      "part of the blade works below its polar's lowest Reynolds number; that table was held");
  say([](const SweepPoint& point) { return point.span.total.span_above_reynolds > 0.0; },
      "part of the blade works above its polar's highest Reynolds number; that table was held");
  note_on_unconverged(points, notes);
  say([](const SweepPoint& point) { return point.tunnel && point.tunnel->disc.held; },
      "the rotor is loaded beyond what the theory of the tunnel's walls follows; their effect was "
      "held at its limit");
  note_on_betz(points, notes);
  return notes;
}

}  // namespace windwright::cli
