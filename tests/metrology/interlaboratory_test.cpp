// SPDX-License-Identifier: Apache-2.0
#include "metrology/interlaboratory.h"

#include "base/errors.h"
#include "metrology/outliers.h"
#include "metrology/robust.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

std::vector<Cell> drawn(std::mt19937& generator, int groups, int repeats, double between) {
  std::normal_distribution<double> normal;
  std::vector<Cell> cells;
  for (int group = 0; group < groups; ++group) {
    Cell cell{.group = std::to_string(group), .values = {}, .u = std::nullopt};
    const double bias = between * normal(generator);
    for (int i = 0; i < repeats; ++i)
      cell.values.push_back(10.0 + bias + normal(generator));
    cells.push_back(cell);
  }
  return cells;
}

TEST(Precision, RecoversWhatTheGroupsWereDrawnWith) {
  std::mt19937 generator(2026);
  double within = 0.0;
  double all = 0.0;
  constexpr int trials = 2000;
  for (int trial = 0; trial < trials; ++trial) {
    auto cells = drawn(generator, 12, 4, 1.5);
    cells[0].values.resize(2);  // unequal numbers of repeats
    cells[1].values.resize(3);
    const Precision got = precision_of(cells);
    within += got.repeatability * got.repeatability;
    all += got.reproducibility * got.reproducibility;
  }
  EXPECT_NEAR(within / trials, 1.0, 0.02);
  EXPECT_NEAR(all / trials, 1.0 + 1.5 * 1.5, 0.1);
}

TEST(Precision, OfSingleValuesLeavesRepeatabilityOpen) {
  std::mt19937 generator(1);
  const Precision got = precision_of(drawn(generator, 5, 1, 1.0));
  EXPECT_TRUE(std::isnan(got.repeatability));
  EXPECT_TRUE(std::isnan(got.reproducibility_limit));
  EXPECT_GT(got.deviation_of_means, 0.0);
}

TEST(LevelStudy, NamesAnOutlierAndKeepsItInTheWhole) {
  std::mt19937 generator(7);
  auto cells = drawn(generator, 10, 3, 0.2);
  for (double& value : cells[4].values)
    value += 20.0;
  const LevelStudy study = study_level(cells);
  ASSERT_EQ(study.outliers, std::vector<std::string>{"4"});
  EXPECT_EQ(study.suspects.back().test, "Grubbs");
  EXPECT_EQ(study.all.groups, 10U);
  EXPECT_EQ(study.cells.size(), 10U);
  ASSERT_TRUE(study.without_outliers);
  EXPECT_EQ(study.without_outliers->groups, 9U);
  EXPECT_GE(study.scores[4].z, 3.0);
  EXPECT_TRUE(study.calls_for_action);
  EXPECT_NEAR(study.robust.mean, 10.0, 0.6);
}

TEST(LevelStudy, ScoresAgainstAReferenceThatTakesNoPart) {
  std::mt19937 generator(3);
  auto cells = drawn(generator, 10, 3, 0.2);
  cells[2].u = 0.4;
  const Cell reference{.group = "teacher", .values = {12.0}, .u = 0.3};
  const LevelStudy study = study_level(cells, reference);
  EXPECT_EQ(study.all.groups, 10U);
  EXPECT_EQ(study.assigned.value, 12.0);
  ASSERT_TRUE(study.scores[2].zeta);
  EXPECT_NEAR(*study.scores[2].zeta, (study.cells[2].mean - 12.0) / 0.5, 1e-12);
  EXPECT_NEAR(*study.scores[2].en, 0.5 * *study.scores[2].zeta, 1e-12);
  EXPECT_FALSE(study.scores[3].zeta);
}

// 5 % and 1 % points are what they say for the whole set of groups.
TEST(LevelStudy, FalseAlarmsAreAsRareAsStated) {
  std::mt19937 generator(11);
  int cochran = 0;
  int grubbs_5pct = 0;
  constexpr int trials = 4000;
  for (int trial = 0; trial < trials; ++trial) {
    bool uneven = false;
    bool far = false;
    for (const SuspectCell& each : study_level(drawn(generator, 8, 3, 1.0)).suspects) {
      uneven |= each.test == "Cochran";
      far |= each.test == "Grubbs";
    }
    cochran += uneven ? 1 : 0;
    grubbs_5pct += far ? 1 : 0;
  }
  EXPECT_NEAR(cochran, 0.05 * trials, 0.011 * trials);
  EXPECT_NEAR(grubbs_5pct, 0.05 * trials, 0.011 * trials);
}

TEST(LevelStudy, EqualValuesHaveNoSuspects) {
  const std::vector<Cell> cells{{"a", {1.0, 1.0}, std::nullopt},
                                {"b", {1.0, 1.0}, std::nullopt},
                                {"c", {1.0, 1.0}, std::nullopt}};
  const LevelStudy study = study_level(cells);
  EXPECT_TRUE(study.suspects.empty());
  EXPECT_EQ(study.all.reproducibility, 0.0);
  EXPECT_EQ(study.scores[0].z, 0.0);
  EXPECT_FALSE(study.calls_for_action);
}

TEST(AlgorithmA, HoldsAgainstAnEighthOfWildValues) {
  std::mt19937 generator(5);
  std::normal_distribution<double> normal;
  std::vector<double> values;
  for (int i = 0; i < 30; ++i)
    values.push_back(i < 26 ? 10.0 + normal(generator) : 1000.0 + i);
  const RobustMean got = algorithm_a(values);
  EXPECT_TRUE(got.converged);
  EXPECT_NEAR(got.mean, 10.0, 1.0);
  EXPECT_LT(got.standard_deviation, 2.5);
}

TEST(AlgorithmA, WorksWhereMostValuesAreEqual) {
  const RobustMean got = algorithm_a(std::vector{5.0, 5.0, 5.0, 5.0, 5.6});
  EXPECT_GT(got.mean, 5.0);
  EXPECT_LT(got.mean, 5.12);
  EXPECT_EQ(algorithm_a(std::vector{5.0, 5.0, 5.0}).standard_deviation, 0.0);
}

// Normal noise of 0.1 to 2 steps, shown in whole steps: the 1 % points may not call more than 2 %
// of such records suspicious, and a value eight steps off is seen.
TEST(Outliers, OfACoarseInstrumentAreNotItsSteps) {
  std::mt19937 generator(11);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> offset(0.0, 1.0);
  constexpr int trials = 250;
  for (const std::size_t count : {10U, 38U, 100U}) {
    for (const double scatter : {0.1, 0.2, 0.3, 0.5, 1.0, 2.0}) {
      int alarms = 0;
      std::vector<double> values(count);
      for (int trial = 0; trial < trials; ++trial) {
        const double mean = offset(generator);
        for (double& value : values)
          value = std::round(mean + scatter * normal(generator));
        const Suspects found = suspects(values, std::max<std::size_t>(1, count / 10));
        alarms += !found.empty() && found.front().standing == Standing::outlier ? 1 : 0;
      }
      EXPECT_LE(alarms, trials / 50) << count << " values, scatter " << scatter;
      if (scatter == 0.5) {
        values[3] += 8.0;
        const Suspects found = suspects(values, 1);
        ASSERT_FALSE(found.empty());
        EXPECT_EQ(found.front().index, 3U);
      }
    }
  }
}

// Fewer than 25 values name one suspect at most, however many are looked for.
TEST(Outliers, AreSeveralOnlyOfManyValues) {
  std::vector<double> values{1.0, 1.3, 0.9, 1.1, 1.25, 0.8, 1.05, 0.95, 1.15, 0.85, 1.2, 1.02};
  EXPECT_TRUE(suspects(values, 10).empty());
  values.insert(values.end(), {9.0, 30.0});
  EXPECT_EQ(suspects(values, 10).size(), 1U);
}

TEST(Outliers, WantThreeFiniteValues) {
  EXPECT_THROW(grubbs(std::vector{1.0, 2.0}), base::BadInput);
  EXPECT_THROW(grubbs(std::vector<double>{1.0, 2.0, INFINITY}), base::BadInput);
  EXPECT_EQ(grubbs(std::vector{2.0, 2.0, 2.0}).g, 0.0);
  EXPECT_TRUE(suspects(std::vector{1.0, 2.0, 3.0, 2.5}, 3).empty());
}

}  // namespace
}  // namespace windwright::metrology
