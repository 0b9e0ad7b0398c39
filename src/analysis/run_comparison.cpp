// SPDX-License-Identifier: Apache-2.0
#include "analysis/run_comparison.h"

#include "analysis/budget.h"
#include "analysis/curve_peak.h"
#include "analysis/remarks.h"
#include "base/errors.h"
#include "metrology/agreement.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

// Under which names the inputs of one run go into the comparison.
class Names {
 public:
  explicit Names(const std::vector<RunToCompare>& runs) : runs_(runs) {
    std::map<std::pair<std::string, std::string>, std::vector<std::size_t>> sharers;
    for (std::size_t run = 0; run < runs.size(); ++run) {
      for (const auto& [input, origin] : runs[run].origins)
        sharers[{input, origin}].push_back(run);
    }
    for (const auto& [key, members] : sharers) {
      if (members.size() > 1) common_.insert(key.first);
      for (const std::size_t run : members)
        sharers_[{run, key.first}] = members;
    }
  }

  const std::set<std::string>& common() const { return common_; }

  Estimate renamed(const Estimate& estimate, std::size_t run) const {
    Estimate result(estimate.value());
    for (const auto& [input, contribution] : estimate.contributions())
      add(result, run, input, contribution);
    return result;
  }

 private:
  void add(Estimate& result, std::size_t run, const std::string& input,
           metrology::Contribution contribution) const {
    if (input.starts_with("degree-of-fit-")) {  // of curves that were fitted alike
      result.add(input, contribution);
      return;
    }
    const auto found = sharers_.find({run, input});
    if (found == sharers_.end() || found->second.size() < 2) {
      result.add(own(input, run), contribution);
      return;
    }
    const double between = part_between(input, found->second);
    const double u = contribution.u;
    contribution.u = u * std::sqrt(1.0 - between);
    result.add(shared(input, found->second), contribution);
    contribution.u = u * std::sqrt(between);
    if (contribution.u != 0.0) result.add(own(input, run), contribution);
  }

  static std::string own(const std::string& input, std::size_t run) {
    return metrology::is_random(input) ? fmt::format("{} of run {}", input, run + 1)
                                       : fmt::format("run {} {}", run + 1, input);
  }

  std::string shared(const std::string& input, const std::vector<std::size_t>& members) const {
    if (members.size() == runs_.size()) return input;
    std::vector<std::size_t> numbers;
    for (const std::size_t run : members)
      numbers.push_back(run + 1);
    return fmt::format("runs {} {}", fmt::join(numbers, ", "), input);
  }

  // Part of the variance that is each run's own, so that the difference of two runs has the
  // variance of a random walk over the time between the first and the last.
  double part_between(const std::string& input, const std::vector<std::size_t>& members) const {
    std::optional<base::UtcTime> first;
    std::optional<base::UtcTime> last;
    double validity_s = 0.0;
    for (const std::size_t run : members) {
      const auto age = runs_[run].ages.find(input);
      if (age == runs_[run].ages.end()) return 0.0;
      first = first ? std::min(*first, age->second.used) : age->second.used;
      last = last ? std::max(*last, age->second.used) : age->second.used;
      validity_s = age->second.validity_s;
    }
    const double between_s = std::chrono::duration<double>(*last - *first).count();
    return 0.5 * (validity_s > 0.0 ? std::min(1.0, between_s / validity_s) : 1.0);
  }

  const std::vector<RunToCompare>& runs_;
  std::map<std::pair<std::size_t, std::string>, std::vector<std::size_t>> sharers_;
  std::set<std::string> common_;
};

const std::vector<Curve>& curves_of(const RunToCompare& run, bool open_air) {
  return open_air && run.results.section ? run.results.open_air_curves : run.results.curves;
}

bool same_setting(const Curve& a, const Curve& b) {
  return a.blade_count == b.blade_count && a.pitch_deg == b.pitch_deg && a.stage == b.stage &&
         a.block_settings == b.block_settings;
}

// A curve with the run that it belongs to.
struct Member {
  std::size_t run;
  const Curve* curve;
};
using Family = std::vector<Member>;

struct MaximumOfRun {
  Estimate maximum_cp;
  std::optional<Estimate> optimum_tip_speed_ratio;
};

std::vector<Family> families_of(const std::vector<RunToCompare>& runs, bool open_air) {
  std::vector<Family> families;
  for (std::size_t run = 0; run < runs.size(); ++run) {
    for (const Curve& curve : curves_of(runs[run], open_air)) {
      const auto found = std::find_if(families.begin(), families.end(), [&](const Family& each) {
        return same_setting(*each.front().curve, curve) && each.back().run != run;
      });
      if (found == families.end()) {
        families.push_back({{run, &curve}});
      } else {
        found->push_back({run, &curve});
      }
    }
  }
  return families;
}

// The single curves of all runs, where they are single and of one stage.
std::optional<Family> single_curves(const std::vector<RunToCompare>& runs, bool open_air) {
  Family family;
  for (std::size_t run = 0; run < runs.size(); ++run) {
    const auto& curves = curves_of(runs[run], open_air);
    if (curves.size() != 1 || curves.front().stage != curves_of(runs[0], open_air).front().stage) {
      return std::nullopt;
    }
    family.push_back({run, &curves.front()});
  }
  return family;
}

std::string label_of(const Family& family) {
  std::vector<std::string> labels;
  for (const Member& member : family) {
    if (labels.empty() || labels.back() != member.curve->label) {
      labels.push_back(member.curve->label);
    }
  }
  return fmt::format("{}", fmt::join(labels, " against "));
}

RunDifference difference_of(const ComparedCurve& curve, const Family& family, std::size_t a,
                            std::size_t b) {
  RunDifference result{
      .a = family[a].run,
      .b = family[b].run,
      .maximum_cp = metrology::agreement(curve.maximum_cp[a], curve.maximum_cp[b]),
      .u_if_independent = std::hypot(curve.maximum_cp[a].u(), curve.maximum_cp[b].u()),
      .optimum_tip_speed_ratio = std::nullopt};
  if (curve.optimum_tip_speed_ratio[a] && curve.optimum_tip_speed_ratio[b]) {
    result.optimum_tip_speed_ratio =
        metrology::agreement(*curve.optimum_tip_speed_ratio[a], *curve.optimum_tip_speed_ratio[b]);
  }
  return result;
}

// Curves of one setting have one shape, so they are fitted alike; others, and those without a
// maximum inside, keep their own.
std::vector<MaximumOfRun> maxima_of(const Family& family) {
  std::vector<const Curve*> curves;
  std::vector<MaximumOfRun> maxima;
  bool alike = true;
  for (const Member& member : family) {
    curves.push_back(member.curve);
    maxima.push_back({member.curve->maximum_cp, member.curve->optimum_tip_speed_ratio});
    alike = alike && same_setting(*member.curve, *family.front().curve) &&
            member.curve->optimum_tip_speed_ratio;
  }
  const auto together = alike ? fitted_alike(curves) : std::nullopt;
  for (std::size_t i = 0; together && i < maxima.size(); ++i) {
    // How well the pitch was set is no matter of the fit.
    const auto with_setting = [](Estimate fitted, const Estimate& single) {
      for (const auto& [input, contribution] : single.contributions()) {
        if (input.starts_with("pitch_deg:setting")) fitted.add(input, contribution);
      }
      return fitted;
    };
    const FittedCurve& fitted = (*together)[i];
    maxima[i] = {with_setting(fitted.maximum_cp, maxima[i].maximum_cp),
                 with_setting(fitted.optimum_tip_speed_ratio, *maxima[i].optimum_tip_speed_ratio)};
  }
  return maxima;
}

ComparedCurve compared(const Family& family, const Names& names) {
  ComparedCurve result{.label = label_of(family),
                       .stage = family.front().curve->stage,
                       .runs = {},
                       .maximum_cp = {},
                       .optimum_tip_speed_ratio = {},
                       .differences = {},
                       .mean_cp = std::nullopt,
                       .budget = {}};
  bool can_be_weighted = true;
  const std::vector<MaximumOfRun> maxima = maxima_of(family);
  for (std::size_t i = 0; i < family.size(); ++i) {
    const std::size_t run = family[i].run;
    result.runs.push_back(run);
    result.maximum_cp.push_back(names.renamed(maxima[i].maximum_cp, run));
    const auto& optimum = maxima[i].optimum_tip_speed_ratio;
    result.optimum_tip_speed_ratio.push_back(optimum ? std::optional(names.renamed(*optimum, run))
                                                     : std::nullopt);
    can_be_weighted = can_be_weighted && result.maximum_cp.back().u_random() > 0.0;
  }
  for (std::size_t a = 0; a < family.size(); ++a) {
    for (std::size_t b = a + 1; b < family.size(); ++b)
      result.differences.push_back(difference_of(result, family, a, b));
  }
  if (can_be_weighted) result.mean_cp = metrology::weighted_mean(result.maximum_cp);
  result.budget = budget_of(result.differences.front().maximum_cp.difference, nullptr);
  return result;
}

bool has_maximum(const Member& member) {
  return std::isfinite(member.curve->maximum_cp.value());
}

bool is_told(const metrology::Agreement& agreement) {
  return agreement.difference.u() > 0.0 && std::isfinite(agreement.en);
}

std::optional<bool> verdict_of(const std::vector<ComparedCurve>& curves) {
  bool all_told = !curves.empty();
  for (const ComparedCurve& curve : curves) {
    for (const RunDifference& each : curve.differences) {
      for (const auto& agreement : {std::optional(each.maximum_cp), each.optimum_tip_speed_ratio}) {
        if (!agreement) continue;
        if (std::abs(agreement->en) > 1.0) return false;
        all_told = all_told && is_told(*agreement);
      }
    }
  }
  return all_told ? std::optional(true) : std::nullopt;
}

// Points files of two ages: the one error of a curve goes by two names.
void remark_on_residuals(const std::vector<RunToCompare>& runs, std::set<std::string>& remarks) {
  std::set<std::string> inputs;
  for (const RunToCompare& run : runs) {
    for (const auto& [input, origin] : run.origins)
      inputs.insert(input);
  }
  const std::set<std::string> channels = channels_of_two_residuals(inputs);
  if (channels.empty()) return;
  remarks.insert(fmt::format(
      "What the calibration curves of {} do not follow is one error for the whole range in some "
      "runs (a points file written before such errors went by stretches of the range) and goes by "
      "stretches in others, so that it counts as independent between them: reduce the older runs "
      "again and compare their new points files, or the run folders.",
      fmt::join(channels, ", ")));
}

void remark_on(const RunComparison& comparison, const std::vector<RunToCompare>& runs,
               std::set<std::string>& remarks) {
  for (std::size_t i = 0; i < runs.size(); ++i) {
    for (const std::string& remark : runs[i].results.remarks)
      remarks.insert(fmt::format("Run {}: {}", i + 1, remark));
  }
  if (comparison.common.empty()) {
    remarks.insert(
        "The runs are taken as independent: nothing says that they share a sensor, a certificate "
        "or a standard.");
  }
  remark_on_residuals(runs, remarks);
  for (const ComparedCurve& curve : comparison.curves) {
    for (const RunDifference& each : curve.differences) {
      const auto& optimum = each.optimum_tip_speed_ratio;
      if (!is_told(each.maximum_cp) || (optimum && !is_told(*optimum))) {
        remarks.insert(fmt::format(
            "{}: a difference has no known uncertainty, so nobody can say whether the runs differ.",
            curve.label));
      }
    }
  }
}

}  // namespace

RunComparison compare_runs(const std::vector<RunToCompare>& runs) {
  if (runs.size() < 2) {
    throw base::BadInput("comparison", fmt::format("has {} run", runs.size()),
                         "two or more runs or points files");
  }
  const bool open_air = std::any_of(runs.begin(), runs.end(),
                                    [](const RunToCompare& run) { return run.results.section; });
  RunComparison result{.runs = {},
                       .open_air = open_air,
                       .curves = {},
                       .common = {},
                       .remarks = {},
                       .agree = std::nullopt};
  const Names names(runs);
  std::set<std::string> remarks;
  for (const RunToCompare& run : runs)
    result.runs.push_back(run.name);
  std::vector<Family> families = families_of(runs, open_air);
  const auto alone = [](const Family& family) { return family.size() < 2; };
  if (std::all_of(families.begin(), families.end(), alone)) {
    const auto single = single_curves(runs, open_air);
    if (!single) {
      throw base::BadInput("comparison", "the runs have no setting in common",
                           "runs with curves of the same blades, pitch and other settings, or "
                           "with one curve each");
    }
    remarks.insert("The runs have no setting in common: their only curves are compared.");
    families = {*single};
  }
  for (Family& family : families) {
    std::erase_if(family, [](const Member& member) { return !has_maximum(member); });
    if (family.size() >= 2) {
      result.curves.push_back(compared(family, names));
    } else if (!family.empty()) {
      remarks.insert(fmt::format("{}: only run {} has it, so it is not compared.",
                                 family.front().curve->label, family.front().run + 1));
    }
  }
  result.agree = verdict_of(result.curves);
  result.common.assign(names.common().begin(), names.common().end());
  remark_on(result, runs, remarks);
  result.remarks.assign(remarks.begin(), remarks.end());
  return result;
}

}  // namespace windwright::analysis
