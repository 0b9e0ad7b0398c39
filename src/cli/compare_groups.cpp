// SPDX-License-Identifier: Apache-2.0
#include "cli/compare_groups.h"

#include "base/errors.h"
#include "base/json.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "metrology/agreement.h"
#include "metrology/groups_file.h"
#include "metrology/interlaboratory.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using metrology::LevelStudy;
using metrology::Precision;

using Studied = metrology::StudiedLevel;

json::value number_or_null(const std::optional<double>& value) {
  return value ? json::value(*value) : json::value(nullptr);
}

json::object precision_json(const Precision& precision) {
  return json::object{{"groups", precision.groups},
                      {"values", precision.values},
                      {"mean", precision.mean},
                      {"deviation_of_means", precision.deviation_of_means},
                      {"repeatability", precision.repeatability},
                      {"between", precision.between},
                      {"reproducibility", precision.reproducibility},
                      {"repeatability_limit", precision.repeatability_limit},
                      {"reproducibility_limit", precision.reproducibility_limit}};
}

json::array cells_json(const LevelStudy& study) {
  json::array groups;
  for (std::size_t i = 0; i < study.cells.size(); ++i) {
    const metrology::CellStatistics& cell = study.cells[i];
    const metrology::Score& score = study.scores[i];
    groups.push_back(json::object{{"group", cell.group},
                                  {"count", cell.count},
                                  {"mean", cell.mean},
                                  {"standard_deviation", cell.standard_deviation},
                                  {"mandel_h", cell.h},
                                  {"mandel_k", cell.k},
                                  {study.z_prime ? "z_prime" : "z", score.z},
                                  {"zeta", number_or_null(score.zeta)},
                                  {"en", number_or_null(score.en)}});
  }
  return groups;
}

json::array tests_json(const LevelStudy& study, const std::vector<metrology::SuspectCell>& tests) {
  json::array suspects;
  for (const metrology::SuspectCell& each : tests) {
    suspects.push_back(json::object{{"group", study.cells[each.cell].group},
                                    {"test", each.test},
                                    {"statistic", each.statistic},
                                    {"critical_5pct", each.critical_5pct},
                                    {"critical_1pct", each.critical_1pct},
                                    {"standing", metrology::text_of(each.standing)}});
  }
  return suspects;
}

json::value weighted_json(const metrology::WeightedMean& weighted, const std::string& unit) {
  return json::object{{"mean", metrology::quantity(weighted.mean, unit)},
                      {"chi_squared", weighted.chi_squared},
                      {"degrees_of_freedom", weighted.degrees_of_freedom},
                      {"chance", weighted.chance},
                      {"birge_ratio", weighted.birge_ratio},
                      {"consistent", weighted.consistent}};
}

// Why nobody is judged by the uncertainty that he states.
std::string open_remark(const LevelStudy& study) {
  return fmt::format(
      "The {} is a single value without a stated uncertainty: zeta and E_n are not known.",
      study.assigned.basis);
}

json::value to_json(const Studied& each) {
  const LevelStudy& study = each.study;
  json::array left_out;
  for (const std::string& group : study.outliers)
    left_out.emplace_back(group);
  json::object level{{"level", each.level.name}, {"unit", each.unit}};
  const json::object of_all = precision_json(study.all);
  for (const auto& member : of_all)
    level[member.key()] = member.value();
  level["cells"] = cells_json(study);
  level["mandel_limits"] = json::object{{"h_5pct", study.limits.h_5pct},
                                        {"h_1pct", study.limits.h_1pct},
                                        {"k_5pct", study.limits.k_5pct},
                                        {"k_1pct", study.limits.k_1pct}};
  level["tests"] = tests_json(study, study.tests);
  level["suspects"] = tests_json(study, study.suspects);
  level["outliers"] = std::move(left_out);
  level["without_outliers"] = study.without_outliers
                                  ? json::value(precision_json(*study.without_outliers))
                                  : json::value(nullptr);
  level["robust"] = json::object{{"mean", study.robust.mean},
                                 {"standard_deviation", study.robust.standard_deviation},
                                 {"u", study.robust.u}};
  level["assigned"] = json::object{{"value", study.assigned.value},
                                   {"u", study.assigned.u},
                                   {"standard_deviation", study.assigned.standard_deviation},
                                   {"basis", study.assigned.basis}};
  level["remarks"] = json::array();
  if (!std::isfinite(study.assigned.u))
    level["remarks"].as_array().emplace_back(open_remark(study));
  level["weighted_mean"] =
      study.weighted ? weighted_json(*study.weighted, each.unit) : json::value(nullptr);
  return level;
}

std::string cell(double value) {
  return std::isfinite(value) ? fmt::format("{:.4g}", value) : "-";
}
std::string cell(const std::optional<double>& value) {
  return value ? cell(*value) : "-";
}

void print_precision(const Precision& precision, const char* of, const std::string& unit) {
  fmt::print("{}: {} groups, {} values, mean {:.6g} {}\n", of, precision.groups, precision.values,
             precision.mean, unit);
  if (!std::isfinite(precision.repeatability)) {
    fmt::print(
        "  standard deviation of the means {:.5g}; no repeats, so repeatability stays open\n",
        precision.deviation_of_means);
    return;
  }
  fmt::print(
      "  standard deviation: of the means {:.5g}, repeatability {:.5g}, reproducibility {:.5g}\n",
      precision.deviation_of_means, precision.repeatability, precision.reproducibility);
  fmt::print("  two results differ by less in 95 %: of one group {:.4g}, of two groups {:.4g}\n",
             precision.repeatability_limit, precision.reproducibility_limit);
}

std::string remark(const LevelStudy& study, std::size_t at) {
  std::vector<std::string> parts;
  for (const metrology::SuspectCell& suspect : study.suspects) {
    if (suspect.cell != at) continue;
    parts.push_back(fmt::format("{} ({})", metrology::text_of(suspect.standing), suspect.test));
  }
  const double z = std::abs(study.scores[at].z);
  if (z >= 3.0) parts.emplace_back("act on it");
  if (z > 2.0 && z < 3.0) parts.emplace_back("questionable");
  if (std::abs(study.scores[at].en.value_or(0.0)) > 1.0) {
    parts.emplace_back("misses by more than the stated uncertainty");
  }
  return fmt::format("{}", fmt::join(parts, "; "));
}

void print_groups(const LevelStudy& study) {
  std::size_t width = 5;
  for (const auto& each : study.cells)
    width = std::max(width, each.group.size());
  fmt::print("  {:<{}} {:>5} {:>10} {:>10} {:>8} {:>8} {:>8} {:>8} {:>8}\n", "group", width,
             "count", "mean", "deviation", "h", "k", study.z_prime ? "z'" : "z", "zeta", "E_n");
  for (std::size_t i = 0; i < study.cells.size(); ++i) {
    const metrology::CellStatistics& each = study.cells[i];
    const metrology::Score& score = study.scores[i];
    const std::string row = fmt::format(
        "  {:<{}} {:>5} {:>10.6g} {:>10} {:>8} {:>8} {:>8} {:>8} {:>8}  {}", each.group, width,
        each.count, each.mean, cell(each.standard_deviation), cell(each.h), cell(each.k),
        cell(score.z), cell(score.zeta), cell(score.en), remark(study, i));
    fmt::print("{}\n", row.substr(0, row.find_last_not_of(' ') + 1));
  }
}

// What a test found, or that it found nothing.
void print_tests(const LevelStudy& study) {
  std::vector<metrology::SuspectCell> shown = study.suspects;
  for (const metrology::SuspectCell& each : study.tests) {
    if (each.standing == metrology::Standing::unsuspicious) shown.push_back(each);
  }
  for (const metrology::SuspectCell& each : shown) {
    fmt::print("  {} of {}: {} {:.4g}; 5 % point {:.4g}, 1 % point {:.4g}: {}\n", each.test,
               study.cells[each.cell].group, each.test == "Cochran" ? "C" : "G", each.statistic,
               each.critical_5pct, each.critical_1pct, metrology::text_of(each.standing));
  }
}

void print(const Studied& each) {
  const LevelStudy& study = each.study;
  const std::string unit = each.unit == "1" ? "" : each.unit;
  fmt::print("level {}\n", each.level.name);
  print_precision(study.all, "all", unit);
  print_groups(study);
  fmt::print("  worth a look: h beyond {} (5 %) or {} (1 %), k beyond {} or {}\n",
             cell(study.limits.h_5pct), cell(study.limits.h_1pct), cell(study.limits.k_5pct),
             cell(study.limits.k_1pct));
  print_tests(study);
  if (study.without_outliers) {
    print_precision(*study.without_outliers,
                    fmt::format("without {}", fmt::join(study.outliers, ", ")).c_str(), unit);
  }
  fmt::print("robust mean {:.6g} {} (u {:.3g}), robust standard deviation {:.5g}\n",
             study.robust.mean, unit, study.robust.u, study.robust.standard_deviation);
  const bool known = std::isfinite(study.assigned.u);
  fmt::print("scored against {:.6g} {} (u {}): {}\n", study.assigned.value, unit,
             known ? fmt::format("{:.3g}", study.assigned.u) : "not known", study.assigned.basis);
  if (!known) fmt::print("  {}\n", open_remark(study));
  if (study.weighted) {
    const metrology::WeightedMean& mean = *study.weighted;
    fmt::print(
        "weighted mean {:.6g} {} (u {:.3g}); chi-squared {:.4g} at {:g} degrees of freedom, chance "
        "{:.3g}: {}; Birge ratio {:.3g}\n",
        mean.mean.value(), unit, mean.mean.u(), mean.chi_squared, mean.degrees_of_freedom,
        mean.chance,
        mean.consistent ? "the stated uncertainties explain the scatter"
                        : "the groups scatter more than they state",
        mean.birge_ratio);
  }
  fmt::print("\n");
}

}  // namespace

void require_groups_alone(const BesideGroups& beside) {
  if (beside.files.size() > 1) {
    throw base::BadInput(beside.files[1], "is one too many beside a CSV of groups",
                         "one CSV of groups alone, or two or more runs");
  }
  refuse_without(beside.rotor, "--rotor", "points files");
  refuse_without(beside.tunnel_area, "--tunnel-area", "points files");
  refuse_without(beside.same_sensors, "--same-sensors", "points files");
}

json::value groups_json(const std::vector<Studied>& all) {
  json::array levels;
  for (const Studied& each : all)
    levels.push_back(to_json(each));
  return json::object{{"levels", std::move(levels)}};
}

int compare_groups(const GroupsRequest& request) {
  const std::vector<Studied> all =
      metrology::study_groups(metrology::groups_from_file(request.file, request.reference));
  if (request.json) {
    fmt::print("{}", base::json_text(groups_json(all)));
  } else {
    for (const Studied& each : all)
      print(each);
  }
  const bool act = std::any_of(all.begin(), all.end(),
                               [](const Studied& each) { return each.study.calls_for_action; });
  return act ? negative_verdict : done;
}

}  // namespace windwright::cli
