// SPDX-License-Identifier: Apache-2.0
#include "cli/compare_runs.h"

#include "analysis/comparison.h"
#include "analysis/points.h"
#include "analysis/run_comparison.h"
#include "base/errors.h"
#include "base/json.h"
#include "bench/rotor_file.h"
#include "campaign/conductor.h"
#include "cli/verbs.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;
using metrology::Estimate;

analysis::RunToCompare points_from(const std::string& file, const RunsRequest& request) {
  if (request.rotor.empty()) {
    throw base::BadInput("--rotor", "is missing: points alone do not say which rotor was measured",
                         "--rotor ROTOR.toml");
  }
  analysis::ReductionInput input{.points = analysis::points_from_file(file),
                                 .rotor = bench::rotor_from_file(request.rotor)};
  input.section_area_m2 = request.section_area_m2;
  input.with_theory = false;
  return analysis::points_to_compare(input, file, request.same_sensors);
}

analysis::RunToCompare run_from(const std::string& folder) {
  const campaign::Run run = campaign::run_from_folder(folder);
  if (run.points.empty()) {
    throw base::BadInput(folder, "holds no test point",
                         "a run that was conducted; windwright conduct --resume goes on with it");
  }
  return analysis::run_to_compare(run, folder);
}

std::string cell(const Estimate& estimate) {
  return analysis::with_uncertainty(estimate.value(), estimate.expanded());
}

void print_agreement(const char* what, const metrology::Agreement& agreement) {
  fmt::print("    {:<24} {}", what,
             analysis::with_uncertainty(agreement.difference.value(), agreement.expanded));
  if (!(agreement.difference.u() > 0.0)) {
    fmt::print(", uncertainty not known\n");
  } else {
    fmt::print(", E_n {:.2f}, zeta {:.2f}: {}\n", agreement.en, agreement.zeta,
               std::abs(agreement.en) > 1.0 ? "they differ" : "no difference shown");
  }
}

void print_curve(const analysis::ComparedCurve& curve) {
  fmt::print("\n{}\n", curve.label);
  for (std::size_t i = 0; i < curve.runs.size(); ++i) {
    const auto& optimum = curve.optimum_tip_speed_ratio[i];
    fmt::print("  run {}: largest {} cp {}{}\n", curve.runs[i] + 1, curve.stage,
               cell(curve.maximum_cp[i]),
               optimum ? " at tip-speed ratio " + cell(*optimum) : std::string());
  }
  for (const analysis::RunDifference& each : curve.differences) {
    fmt::print("  run {} less run {}\n", each.a + 1, each.b + 1);
    print_agreement("largest cp", each.maximum_cp);
    if (each.optimum_tip_speed_ratio) {
      print_agreement("optimum tip-speed ratio", *each.optimum_tip_speed_ratio);
    }
    const double u = each.maximum_cp.difference.u();
    if (u > 0.0) {
      fmt::print("    standard uncertainty {:.2g}; {:.2g} if the runs had nothing in common\n", u,
                 each.u_if_independent);
    }
  }
  if (curve.mean_cp) {
    const metrology::WeightedMean& mean = *curve.mean_cp;
    fmt::print("  all runs: chi-squared {:.3g} at {:g}, chance {:.2g}: {}\n", mean.chi_squared,
               mean.degrees_of_freedom, mean.chance,
               mean.consistent ? "consistent, weighted mean " + cell(mean.mean)
                               : "not consistent, so no common mean");
  }
  if (curve.budget.empty()) return;
  fmt::print("  uncertainty of run {} less run {}, by input:\n", curve.differences.front().a + 1,
             curve.differences.front().b + 1);
  for (const analysis::BudgetLine& line : curve.budget)
    fmt::print("  {:>6.1f} %  {}\n", line.share_pct, line.meaning);
}

void print(const analysis::RunComparison& comparison) {
  for (std::size_t i = 0; i < comparison.runs.size(); ++i)
    fmt::print("run {}: {}\n", i + 1, comparison.runs[i]);
  fmt::print("value ± expanded uncertainty (95 %){}\n",
             comparison.open_air ? "; corrected to open air" : "");
  for (const analysis::ComparedCurve& curve : comparison.curves)
    print_curve(curve);
  if (!comparison.common.empty()) {
    std::set<std::string> owners;
    for (const std::string& input : comparison.common)
      owners.insert(input.substr(0, input.find(':')));
    fmt::print("\nerrors in common, which drop out of the differences, of: {}\n",
               fmt::join(owners, ", "));
  }
  if (!comparison.remarks.empty()) fmt::print("\n");
  for (const std::string& remark : comparison.remarks)
    fmt::print("- {}\n", remark);
}

}  // namespace

std::vector<analysis::RunToCompare> runs_of(const RunsRequest& request) {
  std::vector<analysis::RunToCompare> runs;
  for (const std::string& each : request.what)
    runs.push_back(fs::is_directory(each) ? run_from(each) : points_from(each, request));
  return runs;
}

int compare_runs(const RunsRequest& request) {
  const std::vector<analysis::RunToCompare> runs = runs_of(request);
  const analysis::RunComparison comparison = analysis::compare_runs(runs);
  if (request.json) {
    fmt::print("{}", base::json_text(analysis::to_json(comparison)));
  } else {
    print(comparison);
  }
  return comparison.agree.value_or(false) ? done : negative_verdict;
}

}  // namespace windwright::cli
