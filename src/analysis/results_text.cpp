// SPDX-License-Identifier: Apache-2.0
// How results leave: results.json and curves.csv.
#include "analysis/results.h"
#include "base/text.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

namespace json = boost::json;

namespace {

using metrology::Estimate;

json::value stated(const Estimate& estimate, std::string_view unit) {
  json::value value = metrology::quantity(estimate, unit);
  if (estimate.contributions().empty()) {
    value.as_object()["u"] = nullptr;
    value.as_object()["dof"] = nullptr;
  }
  return value;
}

void put(json::object& object, const char* name, const std::optional<Estimate>& estimate,
         std::string_view unit) {
  if (estimate) object[name] = stated(*estimate, unit);
}

json::value settings_json(const std::map<std::string, double>& settings) {
  json::object object;
  for (const auto& [name, value] : settings)
    object[name] = value;
  return object;
}

json::array numbers_json(const std::vector<double>& numbers) {
  json::array array;
  for (const double number : numbers)
    array.emplace_back(number);
  return array;
}

json::value stage_json(const Stage& stage) {
  return json::object{{"name", stage.name},
                      {"power_W", stated(stage.power_W, "W")},
                      {"efficiency", stated(stage.efficiency, "1")},
                      {"basis", stage.basis}};
}

json::value corrected_json(const CorrectedPoint& corrected) {
  json::object object;
  put(object, "tip_speed_ratio", corrected.tip_speed_ratio, "1");
  put(object, "cp_shaft", corrected.cp_shaft, "1");
  put(object, "cp_electrical", corrected.cp_electrical, "1");
  put(object, "ct", corrected.ct, "1");
  put(object, "free_air_speed_m_s", corrected.free_air_speed_m_s, "m s-1");
  put(object, "speed_ratio", corrected.speed_ratio, "1");
  put(object, "ct_of_correction", corrected.ct_of_correction, "1");
  object["thrust_basis"] = corrected.thrust_basis;
  object["held"] = corrected.held;
  return object;
}

json::value section_json(const Section& section) {
  return json::object{{"section_area_m2", section.section_area_m2},
                      {"blockage", section.blockage},
                      {"largest_cp", section.largest_cp}};
}

json::value point_json(const PointResult& point) {
  json::object object{{"number", point.number},
                      {"blade_count", point.blade_count},
                      {"pitch_deg", point.pitch_deg},
                      {"block_settings", settings_json(point.block_settings)},
                      {"settings", settings_json(point.settings)},
                      {"settled", point.settled}};
  put(object, "tip_speed_ratio", point.tip_speed_ratio, "1");
  put(object, "cp_shaft", point.cp_shaft, "1");
  put(object, "cp_electrical", point.cp_electrical, "1");
  put(object, "ct", point.ct, "1");
  put(object, "air_density_kg_m3", point.air_density_kg_m3, "kg m-3");
  put(object, "air_speed_m_s", point.air_speed_m_s, "m s-1");
  put(object, "rotor_speed_rad_s", point.rotor_speed_rad_s, "rad s-1");
  put(object, "wind_power_W", point.wind_power_W, "W");
  put(object, "shaft_power_W", point.shaft_power_W, "W");
  put(object, "shaft_torque_N_m", point.shaft_torque_N_m, "N m");
  put(object, "dc_power_W", point.dc_power_W, "W");
  json::array stages;
  for (const Stage& stage : point.stages)
    stages.push_back(stage_json(stage));
  object["stages"] = std::move(stages);
  object["theory"] = json::object{{"cp_shaft", point.theory.cp_shaft},
                                  {"cp_electrical", point.theory.cp_electrical}};
  if (point.corrected) object["corrected"] = corrected_json(*point.corrected);
  return object;
}

json::value theory_json(const std::vector<TheoryPoint>& theory) {
  json::array tip_speed_ratio;
  json::array cp_shaft;
  json::array cp_electrical;
  for (const TheoryPoint& point : theory) {
    tip_speed_ratio.emplace_back(point.tip_speed_ratio);
    cp_shaft.emplace_back(point.cp_shaft);
    cp_electrical.emplace_back(point.cp_electrical);
  }
  return json::object{{"tip_speed_ratio", std::move(tip_speed_ratio)},
                      {"cp_shaft", std::move(cp_shaft)},
                      {"cp_electrical", std::move(cp_electrical)}};
}

json::value optimum_json(const Curve& curve) {
  return curve.optimum_tip_speed_ratio ? stated(*curve.optimum_tip_speed_ratio, "1")
                                       : json::value(nullptr);
}

// @param open_air  the same curve, corrected; null for an open jet
json::value curve_json(const Curve& curve, const Curve* open_air) {
  json::object object{{"label", curve.label},
                      {"blade_count", curve.blade_count},
                      {"pitch_deg", curve.pitch_deg},
                      {"block_settings", settings_json(curve.block_settings)},
                      {"stage", curve.stage}};
  object["optimum_tip_speed_ratio"] = optimum_json(curve);
  object["maximum_cp"] = stated(curve.maximum_cp, "1");
  object["maximum_basis"] = curve.maximum_basis;
  if (open_air != nullptr) {
    object["corrected"] = json::object{{"optimum_tip_speed_ratio", optimum_json(*open_air)},
                                       {"maximum_cp", stated(open_air->maximum_cp, "1")},
                                       {"maximum_basis", open_air->maximum_basis}};
  }
  object["fit"] =
      json::object{{"coefficients", numbers_json(curve.fit)},
                   {"tip_speed_ratio_range", json::array{curve.fit_range[0], curve.fit_range[1]}},
                   {"residual_standard_deviation", curve.fit_u_scatter}};
  json::array numbers;
  for (const PointResult& point : curve.points)
    numbers.emplace_back(point.number);
  object["points"] = std::move(numbers);
  object["theory"] = theory_json(curve.theory);
  return object;
}

json::value verdict_json(const Verdict& verdict) {
  json::array differences;
  for (const Difference& each : verdict.differences) {
    differences.push_back(json::object{{"a", each.a},
                                       {"b", each.b},
                                       {"difference", stated(each.difference, "1")},
                                       {"expanded", each.expanded},
                                       {"significant", each.significant}});
  }
  json::array compared;
  for (const Compared& each : verdict.compared) {
    compared.push_back(json::object{
        {"levels", json::value_from(each.levels)},
        {"maximum_cp", stated(each.maximum_cp, "1")},
        {"expanded", each.maximum_cp.expanded()},
        {"optimum_tip_speed_ratio", each.optimum_tip_speed_ratio
                                        ? stated(*each.optimum_tip_speed_ratio, "1")
                                        : json::value(nullptr)},
        {"optimum_expanded", each.optimum_tip_speed_ratio
                                 ? json::value(each.optimum_tip_speed_ratio->expanded())
                                 : json::value(nullptr)},
        {"may_be_best", each.may_be_best}});
  }
  json::array winners;
  for (const Winner& each : verdict.winners) {
    winners.push_back(json::object{
        {"factor", each.factor}, {"level", each.level}, {"others", json::value_from(each.others)}});
  }
  return json::object{{"question", verdict.question},
                      {"code", verdict.code},
                      {"response", verdict.response},
                      {"level", verdict.level},
                      {"compared", std::move(compared)},
                      {"winners", std::move(winners)},
                      {"answer", verdict.answer},
                      {"difference", stated(verdict.difference, "1")},
                      {"expanded", verdict.expanded},
                      {"significant", verdict.significant},
                      {"differences", std::move(differences)}};
}

json::value budget_json(const std::vector<BudgetLine>& budget) {
  json::array lines;
  for (const BudgetLine& line : budget) {
    lines.push_back(json::object{{"input", line.input},
                                 {"meaning", line.meaning},
                                 {"u", line.u},
                                 {"share_pct", line.share_pct}});
  }
  return lines;
}

// Value and uncertainty, empty where there is none.
void put(std::vector<std::string>& cells, const std::optional<Estimate>& estimate) {
  cells.push_back(estimate ? base::number_text(estimate->value()) : std::string());
  cells.push_back(estimate && !estimate->contributions().empty() ? base::number_text(estimate->u())
                                                                 : std::string());
}

std::string finite_text(double value) {
  return std::isfinite(value) ? base::number_text(value) : std::string();
}

}  // namespace

json::value to_json(const Results& results) {
  std::vector<const PointResult*> points;
  for (const Curve& curve : results.curves) {
    for (const PointResult& point : curve.points)
      points.push_back(&point);
  }
  std::sort(points.begin(), points.end(),
            [](const auto* a, const auto* b) { return a->number < b->number; });
  json::array point_array;
  for (const PointResult* point : points)
    point_array.push_back(point_json(*point));
  json::array curve_array;
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    curve_array.push_back(
        curve_json(results.curves[i], results.section ? &results.open_air_curves[i] : nullptr));
  }
  json::array remarks;
  for (const std::string& remark : results.remarks)
    remarks.emplace_back(remark);
  json::object document{
      {"points", std::move(point_array)},
      {"curves", std::move(curve_array)},
      {"verdict", results.verdict ? verdict_json(*results.verdict) : json::value(nullptr)},
      {"budget_of", results.budget_of},
      {"budget", budget_json(results.budget)},
      {"remarks", std::move(remarks)}};
  if (results.section) {
    document["section"] = section_json(*results.section);
    document["corrected_budget_of"] = results.corrected_budget_of;
    document["corrected_budget"] = budget_json(results.corrected_budget);
    if (results.corrected_verdict) {
      document["corrected_verdict"] = verdict_json(*results.corrected_verdict);
    }
  }
  return document;
}

std::string curves_csv(const Results& results) {
  std::string text =
      "# One row a test point, curve by curve; u_NAME: standard uncertainty; theory_: "
      "blade-element "
      "theory\n"
      "# for this rotor at the point's tip-speed ratio. All columns without unit but pitch_deg "
      "[degree]";
  if (results.section) {
    text += fmt::format(
        " and free_air_speed_m_s\n# [m s-1]. Closed section, blockage {:.6g}: corrected_ and free_ "
        "are for open air, the others on the tunnel's speed",
        results.section->blockage);
  }
  text +=
      ".\n"
      "curve,blade_count,pitch_deg,point,settled,tip_speed_ratio,u_tip_speed_ratio,cp_electrical,"
      "u_cp_electrical,cp_shaft,u_cp_shaft,ct,u_ct,theory_cp_electrical,theory_cp_shaft";
  if (results.section) {
    text +=
        ",corrected_tip_speed_ratio,u_corrected_tip_speed_ratio,corrected_cp_electrical,"
        "u_corrected_cp_electrical,corrected_cp_shaft,u_corrected_cp_shaft,corrected_ct,"
        "u_corrected_ct,free_air_speed_m_s,u_free_air_speed_m_s";
  }
  text += '\n';
  int number = 0;
  for (const Curve& curve : results.curves) {
    ++number;
    for (const PointResult& point : curve.points) {
      std::vector<std::string> cells{std::to_string(number), std::to_string(curve.blade_count),
                                     base::number_text(curve.pitch_deg),
                                     std::to_string(point.number), point.settled ? "1" : "0"};
      put(cells, point.tip_speed_ratio);
      put(cells, point.cp_electrical);
      put(cells, point.cp_shaft);
      put(cells, point.ct);
      cells.push_back(finite_text(point.theory.cp_electrical));
      cells.push_back(finite_text(point.theory.cp_shaft));
      if (point.corrected) {
        put(cells, point.corrected->tip_speed_ratio);
        put(cells, point.corrected->cp_electrical);
        put(cells, point.corrected->cp_shaft);
        put(cells, point.corrected->ct);
        put(cells, point.corrected->free_air_speed_m_s);
      }
      text += fmt::format("{}\n", fmt::join(cells, ","));
    }
  }
  return text;
}

}  // namespace windwright::analysis
