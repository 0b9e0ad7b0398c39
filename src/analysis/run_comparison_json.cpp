// SPDX-License-Identifier: Apache-2.0
#include "analysis/run_comparison.h"
#include "metrology/agreement.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>

#include <optional>
#include <string>
#include <utility>

namespace windwright::analysis {

namespace json = boost::json;

namespace {

json::value stated(const metrology::Estimate& estimate) {
  json::value value = metrology::quantity(estimate, "1");
  if (estimate.contributions().empty()) {
    value.as_object()["u"] = nullptr;
    value.as_object()["dof"] = nullptr;
  }
  return value;
}

json::object agreement_json(const metrology::Agreement& agreement) {
  return {{"difference", stated(agreement.difference)},
          {"expanded", agreement.expanded},
          {"en", agreement.en},
          {"zeta", agreement.zeta}};
}

json::value mean_json(const metrology::WeightedMean& mean) {
  return json::object{{"maximum_cp", mean.consistent ? stated(mean.mean) : json::value(nullptr)},
                      {"chi_squared", mean.chi_squared},
                      {"degrees_of_freedom", mean.degrees_of_freedom},
                      {"chance", mean.chance},
                      {"birge_ratio", mean.birge_ratio},
                      {"consistent", mean.consistent}};
}

json::value curve_json(const ComparedCurve& curve) {
  json::array runs;
  json::array maxima;
  json::array optima;
  for (std::size_t i = 0; i < curve.runs.size(); ++i) {
    runs.emplace_back(curve.runs[i] + 1);
    maxima.push_back(stated(curve.maximum_cp[i]));
    const auto& optimum = curve.optimum_tip_speed_ratio[i];
    optima.push_back(optimum ? stated(*optimum) : json::value(nullptr));
  }
  json::array differences;
  for (const RunDifference& each : curve.differences) {
    json::object maximum = agreement_json(each.maximum_cp);
    maximum["u_if_independent"] = each.u_if_independent;
    differences.push_back(json::object{
        {"a", each.a + 1},
        {"b", each.b + 1},
        {"maximum_cp", std::move(maximum)},
        {"optimum_tip_speed_ratio", each.optimum_tip_speed_ratio
                                        ? json::value(agreement_json(*each.optimum_tip_speed_ratio))
                                        : json::value(nullptr)}});
  }
  json::array budget;
  for (const BudgetLine& line : curve.budget) {
    budget.push_back(json::object{{"input", line.input},
                                  {"meaning", line.meaning},
                                  {"u", line.u},
                                  {"share_pct", line.share_pct}});
  }
  return json::object{{"label", curve.label},
                      {"stage", curve.stage},
                      {"runs", std::move(runs)},
                      {"maximum_cp", std::move(maxima)},
                      {"optimum_tip_speed_ratio", std::move(optima)},
                      {"differences", std::move(differences)},
                      {"mean", curve.mean_cp ? mean_json(*curve.mean_cp) : json::value(nullptr)},
                      {"budget", std::move(budget)}};
}

json::array texts(const std::vector<std::string>& lines) {
  json::array array;
  for (const std::string& line : lines)
    array.emplace_back(line);
  return array;
}

}  // namespace

json::value to_json(const RunComparison& comparison) {
  json::array curves;
  for (const ComparedCurve& curve : comparison.curves)
    curves.push_back(curve_json(curve));
  return json::object{
      {"runs", texts(comparison.runs)},
      {"open_air", comparison.open_air},
      {"curves", std::move(curves)},
      {"common", texts(comparison.common)},
      {"agree", comparison.agree ? json::value(*comparison.agree) : json::value(nullptr)},
      {"remarks", texts(comparison.remarks)}};
}

}  // namespace windwright::analysis
