// SPDX-License-Identifier: Apache-2.0
#include "metrology/interlaboratory.h"

#include "base/errors.h"
#include "metrology/agreement.h"
#include "metrology/check_standard.h"
#include "metrology/critical_values.h"
#include "metrology/estimate.h"
#include "metrology/outliers.h"
#include "metrology/robust.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double variance_of(const Cell& cell) {
  return cell.values.size() < 2 ? nan : signal::variance(cell.values);
}

void require_cells(std::span<const Cell> cells, std::size_t fewest) {
  if (cells.size() < fewest) {
    throw base::BadInput("comparison of groups", fmt::format("has {} groups", cells.size()),
                         fmt::format("at least {}", fewest));
  }
  for (const Cell& cell : cells) {
    const bool finite = std::all_of(cell.values.begin(), cell.values.end(),
                                    [](double each) { return std::isfinite(each); });
    if (cell.values.empty() || !finite) {
      throw base::BadInput(cell.group, "has no value, or one that is not finite",
                           "at least one finite value");
    }
  }
}

std::vector<double> means_of(std::span<const Cell> cells) {
  std::vector<double> means;
  for (const Cell& cell : cells)
    means.push_back(signal::mean(cell.values));
  return means;
}

std::vector<CellStatistics> statistics_of(std::span<const Cell> cells) {
  const std::vector<double> means = means_of(cells);
  const double middle = signal::mean(means);
  const double spread = std::sqrt(signal::variance(means));
  double variances = 0.0;
  std::size_t repeated = 0;
  for (const Cell& cell : cells) {
    if (cell.values.size() < 2) continue;
    variances += variance_of(cell);
    ++repeated;
  }
  const double pooled = std::sqrt(variances / static_cast<double>(repeated));
  std::vector<CellStatistics> all;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const double deviation = std::sqrt(variance_of(cells[i]));
    all.push_back({.group = cells[i].group,
                   .count = cells[i].values.size(),
                   .mean = means[i],
                   .standard_deviation = deviation,
                   .h = spread > 0.0 ? (means[i] - middle) / spread : 0.0,
                   .k = pooled > 0.0 ? deviation / pooled : nan});
  }
  return all;
}

// The number of repeats of most cells: what Cochran's table is entered with.
std::size_t usual_count(std::span<const Cell> cells) {
  std::map<std::size_t, std::size_t> cells_by_count;
  for (const Cell& cell : cells)
    ++cells_by_count[cell.values.size()];
  return std::max_element(cells_by_count.begin(), cells_by_count.end(),
                          [](const auto& a, const auto& b) { return a.second < b.second; })
      ->first;
}

Standing standing_of(double statistic, double critical_5pct, double critical_1pct) {
  if (statistic > critical_1pct) return Standing::outlier;
  return statistic > critical_5pct ? Standing::straggler : Standing::unsuspicious;
}

// Cells still in, by index, and what was found.
struct Search {
  std::span<const Cell> cells;
  std::vector<std::size_t> in;
  std::vector<SuspectCell> suspects;

  std::vector<Cell> kept() const {
    std::vector<Cell> rest;
    for (const std::size_t i : in)
      rest.push_back(cells[i]);
    return rest;
  }
  // More outliers than half of the groups say that the rest is no better.
  bool may_shrink() const { return in.size() > 3 && 2 * (in.size() - 1) >= cells.size(); }
};

std::optional<SuspectCell> cochran(const Search& search) {
  const std::vector<Cell> cells = search.kept();
  double sum = 0.0;
  double largest = -1.0;
  std::size_t at = 0;
  std::vector<Cell> repeated;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (cells[i].values.size() < 2) continue;
    const double variance = variance_of(cells[i]);
    sum += variance;
    if (variance > largest) {
      largest = variance;
      at = search.in[i];
    }
    repeated.push_back(cells[i]);
  }
  if (repeated.size() < 2 || !(sum > 0.0)) return std::nullopt;
  const std::size_t count = usual_count(repeated);
  SuspectCell suspect{.cell = at,
                      .test = "Cochran",
                      .statistic = largest / sum,
                      .critical_5pct = cochran_critical(repeated.size(), count, 0.05),
                      .critical_1pct = cochran_critical(repeated.size(), count, 0.01),
                      .standing = Standing::unsuspicious};
  suspect.standing = standing_of(suspect.statistic, suspect.critical_5pct, suspect.critical_1pct);
  return suspect;
}

std::optional<SuspectCell> grubbs_of_means(const Search& search) {
  const GrubbsTest test = grubbs(means_of(search.kept()));
  return SuspectCell{.cell = search.in[test.index],
                     .test = "Grubbs",
                     .statistic = test.g,
                     .critical_5pct = test.critical_5pct,
                     .critical_1pct = test.critical_1pct,
                     .standing = test.standing};
}

// One test, repeated without the outlier it has found.
void search_with(std::optional<SuspectCell> (*test)(const Search&), Search& search) {
  while (const std::optional<SuspectCell> found = test(search)) {
    if (found->standing == Standing::unsuspicious) return;
    search.suspects.push_back(*found);
    if (found->standing != Standing::outlier || !search.may_shrink()) return;
    std::erase(search.in, found->cell);
  }
}

Assigned assigned_to(const RobustMean& robust, const std::optional<Cell>& reference) {
  if (!reference) {
    return {.value = robust.mean,
            .u = robust.u,
            .standard_deviation = robust.standard_deviation,
            .basis = "robust mean of the groups"};
  }
  const std::vector<double>& values = reference->values;
  const double scatter =
      values.size() < 2 ? nan
                        : std::sqrt(signal::variance(values) / static_cast<double>(values.size()));
  return {.value = signal::mean(values),
          .u = reference->u.value_or(scatter),
          .standard_deviation = robust.standard_deviation,
          .basis = fmt::format("reference {}", reference->group)};
}

std::vector<Score> scores_of(std::span<const Cell> cells, const Assigned& assigned, bool z_prime) {
  constexpr double coverage = 2.0;
  const double yardstick =
      z_prime ? std::hypot(assigned.standard_deviation, assigned.u) : assigned.standard_deviation;
  std::vector<Score> scores;
  for (const Cell& cell : cells) {
    const double difference = signal::mean(cell.values) - assigned.value;
    Score score{.group = cell.group,
                .z = yardstick > 0.0     ? difference / yardstick
                     : difference == 0.0 ? 0.0
                                         : nan,
                .zeta = std::nullopt,
                .en = std::nullopt};
    if (cell.u && std::hypot(*cell.u, assigned.u) > 0.0) {
      score.zeta = difference / std::hypot(*cell.u, assigned.u);
      score.en = en(difference, coverage * *cell.u, coverage * assigned.u);
    }
    scores.push_back(score);
  }
  return scores;
}

MandelLimits limits_of(std::span<const Cell> cells) {
  const std::size_t count = usual_count(cells);
  return {.h_5pct = mandel_h_critical(cells.size(), 0.05),
          .h_1pct = mandel_h_critical(cells.size(), 0.01),
          .k_5pct = mandel_k_critical(cells.size(), count, 0.05),
          .k_1pct = mandel_k_critical(cells.size(), count, 0.01)};
}

std::optional<WeightedMean> weighted_of(std::span<const Cell> cells) {
  std::vector<Estimate> results;
  for (const Cell& cell : cells) {
    if (!cell.u || *cell.u == 0.0) return std::nullopt;
    Estimate result(signal::mean(cell.values));
    result.add(cell.group, {.u = *cell.u, .dof = std::numeric_limits<double>::infinity()});
    results.push_back(std::move(result));
  }
  return weighted_mean(results);
}

bool calls_for_action(const LevelStudy& study) {
  constexpr double act = 3.0;
  return std::any_of(study.suspects.begin(), study.suspects.end(),
                     [](const SuspectCell& each) { return each.standing == Standing::outlier; }) ||
         std::any_of(study.scores.begin(), study.scores.end(), [](const Score& score) {
           return std::abs(score.z) >= act || std::abs(score.zeta.value_or(0.0)) >= act ||
                  std::abs(score.en.value_or(0.0)) > 1.0;
         });
}

}  // namespace

Precision precision_of(std::span<const Cell> cells) {
  require_cells(cells, 2);
  const std::vector<double> means = means_of(cells);
  const auto p = static_cast<double>(cells.size());
  double values = 0.0;
  double squares_of_counts = 0.0;
  double sum = 0.0;
  double within = 0.0;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const auto count = static_cast<double>(cells[i].values.size());
    values += count;
    squares_of_counts += count * count;
    sum += count * means[i];
    if (count > 1.0) within += (count - 1.0) * variance_of(cells[i]);
  }
  Precision precision{.groups = cells.size(),
                      .values = static_cast<std::size_t>(values),
                      .mean = sum / values,
                      .deviation_of_means = std::sqrt(signal::variance(means)),
                      .repeatability = nan,
                      .between = nan,
                      .reproducibility = nan,
                      .repeatability_limit = nan,
                      .reproducibility_limit = nan};
  if (values <= p) return precision;
  double between = 0.0;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const auto count = static_cast<double>(cells[i].values.size());
    between += count * std::pow(means[i] - precision.mean, 2);
  }
  const double variance_within = within / (values - p);
  const double variance_of_groups = between / (p - 1.0);
  const double mean_count = (values - squares_of_counts / values) / (p - 1.0);
  const double variance_between =
      std::max(0.0, (variance_of_groups - variance_within) / mean_count);
  constexpr double limit = 2.8;  // ISO 5725-6:1994, 4.1: 1.96 sqrt(2), rounded
  precision.repeatability = std::sqrt(variance_within);
  precision.between = std::sqrt(variance_between);
  precision.reproducibility = std::sqrt(variance_within + variance_between);
  precision.repeatability_limit = limit * precision.repeatability;
  precision.reproducibility_limit = limit * precision.reproducibility;
  return precision;
}

LevelStudy study_level(std::span<const Cell> cells, const std::optional<Cell>& reference) {
  require_cells(cells, 3);
  if (reference) require_cells({&*reference, 1}, 1);
  LevelStudy study{.cells = statistics_of(cells),
                   .limits = limits_of(cells),
                   .all = precision_of(cells),
                   .tests = {},
                   .suspects = {},
                   .outliers = {},
                   .without_outliers = std::nullopt,
                   .robust = algorithm_a(means_of(cells)),
                   .assigned = {},
                   .z_prime = false,
                   .scores = {},
                   .weighted = weighted_of(cells),
                   .calls_for_action = false};
  Search search{.cells = cells, .in = {}, .suspects = {}};
  for (std::size_t i = 0; i < cells.size(); ++i)
    search.in.push_back(i);
  for (const auto test : {cochran, grubbs_of_means}) {
    if (const auto found = test(search)) study.tests.push_back(*found);
  }
  search_with(cochran, search);
  search_with(grubbs_of_means, search);
  study.suspects = search.suspects;
  if (search.in.size() < cells.size()) {
    study.without_outliers = precision_of(search.kept());
    for (std::size_t i = 0; i < cells.size(); ++i) {
      if (std::find(search.in.begin(), search.in.end(), i) == search.in.end()) {
        study.outliers.push_back(cells[i].group);
      }
    }
  }
  constexpr double negligible = 0.3;  // ISO 13528:2015, 9.2.1
  study.assigned = assigned_to(study.robust, reference);
  study.z_prime = study.assigned.u > negligible * study.assigned.standard_deviation;
  study.scores = scores_of(cells, study.assigned, study.z_prime);
  study.calls_for_action = calls_for_action(study);
  return study;
}

}  // namespace windwright::metrology
