// SPDX-License-Identifier: Apache-2.0
#include "analysis/run_comparison.h"

#include "analysis/points.h"
#include "analysis/results.h"
#include "analysis/synthetic_points.h"
#include "base/errors.h"
#include "bench/rotor_file.h"
#include "metrology/estimate.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

const physics::Rotor& rotor() {
  static const physics::Rotor read = bench::rotor_from_file(
      std::filesystem::path(SOURCE_FOLDER) / "examples/saltmarsh-college/rotor.toml");
  return read;
}

RunToCompare reduced(const std::vector<Point>& points, const std::string& name, bool same_sensors) {
  return points_to_compare({.points = points, .rotor = rotor(), .with_theory = false}, name,
                           same_sensors);
}

KnownCurve better() {
  KnownCurve known;
  known.maximum = 0.325;
  known.optimum = 4.75;
  return known;
}

TEST(RunComparison, SameSensorsGiveTheDifferenceTheSmallerUncertainty) {
  const auto compare = [](bool same) {
    return compare_runs(
        {reduced(points_on({}), "a", same), reduced(points_on(better()), "b", same)});
  };
  const RunComparison common = compare(true);
  const RunComparison apart = compare(false);
  const RunDifference& with = common.curves.at(0).differences.at(0);
  const RunDifference& without = apart.curves.at(0).differences.at(0);
  EXPECT_NEAR(with.maximum_cp.difference.value(), -0.005, 1e-6);
  EXPECT_NEAR(with.optimum_tip_speed_ratio->difference.value(), -0.05, 1e-4);
  EXPECT_NEAR(without.maximum_cp.difference.u(), without.u_if_independent, 1e-12);
  EXPECT_NEAR(with.u_if_independent, without.u_if_independent, 1e-12);
  EXPECT_LT(with.maximum_cp.difference.u(), 0.2 * without.maximum_cp.difference.u());
  EXPECT_GT(std::abs(with.maximum_cp.en), 1.0) << "the common error must not hide the difference";
  EXPECT_LT(std::abs(without.maximum_cp.en), 1.0);
  EXPECT_EQ(common.agree, std::optional(false));
  EXPECT_EQ(apart.agree, std::optional(true));
  EXPECT_EQ(common.common, (std::vector<std::string>{"air_speed_m_s:standard-relative",
                                                     "dc_voltage_V:standard-relative"}));
  EXPECT_TRUE(apart.common.empty());
}

TEST(RunComparison, ACommonErrorIsNotCountedTwiceInTheMean) {
  const RunComparison got =
      compare_runs({reduced(points_on({}), "a", true), reduced(points_on({}), "b", true)});
  const ComparedCurve& curve = got.curves.at(0);
  ASSERT_TRUE(curve.mean_cp);
  EXPECT_NEAR(curve.mean_cp->mean.value(), 0.32, 1e-6);
  EXPECT_GE(curve.mean_cp->mean.u(), 0.9999 * curve.maximum_cp[0].u_systematic());
  EXPECT_LT(curve.mean_cp->mean.u_random(), curve.maximum_cp[0].u_random());
}

// An older points file has one residual for the whole range, a newer one has it by stretches.
TEST(RunComparison, SaysThatResidualsOfTwoAgesCountAsIndependent) {
  const auto with = [](const std::string& input) {
    auto points = points_on({});
    for (Point& point : points)
      point.quantities.at("dc_power_W").add(input, {.u = 0.5, .dof = INFINITY});
    return points;
  };
  const auto remarked = [](const std::vector<std::string>& remarks) {
    return std::count_if(remarks.begin(), remarks.end(), [](const std::string& remark) {
      return remark.find("dc_voltage_V") != remark.npos &&
             remark.find("reduce the older run") != remark.npos;
    });
  };
  const auto compared = [&](const std::string& first, const std::string& second) {
    return compare_runs({reduced(with(first), "a", true), reduced(with(second), "b", true)});
  };
  const std::string older = "dc_voltage_V:residual";
  const std::string newer = "dc_voltage_V:residual-3";
  EXPECT_EQ(remarked(compared(older, newer).remarks), 1);
  EXPECT_EQ(remarked(compared(older, older).remarks), 0);
  EXPECT_EQ(remarked(compared(newer, newer).remarks), 0);
  EXPECT_EQ(remarked(compared(older, "dc_current_A:residual-3").remarks), 0);
  auto mixed = with(older);
  mixed.back() = with(newer).back();
  EXPECT_EQ(remarked(reduced(mixed, "c", true).results.remarks), 1);
  EXPECT_EQ(remarked(reduced(with(newer), "c", true).results.remarks), 0);
}

TEST(RunComparison, DriftIsCommonOnlyAsFarAsTimeLets) {
  using std::chrono::hours;
  const auto run = [](base::UtcTime used, const char* name) {
    auto points = points_on({});
    for (Point& point : points)
      point.quantities.at("dc_power_W").add("dc_voltage_V:drift", {.u = 0.5, .dof = INFINITY});
    RunToCompare result = reduced(points, name, true);
    result.ages["dc_voltage_V:drift"] = {.used = used, .validity_s = 365.0 * 86400.0};
    return result;
  };
  const auto u_of_drift = [&](hours later) {
    const auto got = compare_runs({run({}, "a"), run(base::UtcTime(later), "b")});
    const auto& difference = got.curves.at(0).differences.at(0).maximum_cp.difference;
    double sum = 0.0;
    for (const auto& [input, contribution] : difference.contributions()) {
      if (input.ends_with("drift")) sum += contribution.u * contribution.u;
    }
    return std::sqrt(sum);
  };
  const double whole = std::abs(
      run({}, "a").results.curves.at(0).maximum_cp.contributions().at("dc_voltage_V:drift").u);
  EXPECT_NEAR(u_of_drift(hours(0)), 0.0, 1e-12);
  EXPECT_NEAR(u_of_drift(hours(24 * 365 / 4)), 0.5 * whole, 1e-3 * whole);
  EXPECT_NEAR(u_of_drift(hours(24 * 365)), whole, 1e-9);
  EXPECT_NEAR(u_of_drift(hours(24 * 900)), whole, 1e-9);
}

TEST(RunComparison, NamesWhatOnlyOneRunHas) {
  auto both = points_on({});
  KnownCurve two;
  two.blade_count = 2;
  append(both, points_on(two, 100));
  const RunComparison got =
      compare_runs({reduced(both, "a", true), reduced(points_on({}), "b", true)});
  ASSERT_EQ(got.curves.size(), 1U);
  EXPECT_EQ(got.curves[0].label, "3 blades, 5 deg");
  bool named = false;
  for (const std::string& remark : got.remarks)
    named |= remark == "2 blades, 5 deg: only run 1 has it, so it is not compared.";
  EXPECT_TRUE(named);
}

TEST(RunComparison, SingleCurvesAreComparedWhateverTheirSettings) {
  KnownCurve two;
  two.blade_count = 2;
  const RunComparison got =
      compare_runs({reduced(points_on(two), "a", true), reduced(points_on({}), "b", true)});
  ASSERT_EQ(got.curves.size(), 1U);
  EXPECT_EQ(got.curves[0].label, "2 blades, 5 deg against 3 blades, 5 deg");
  auto several = points_on({});
  KnownCurve other;
  other.pitch_deg = 8.0;
  append(several, points_on(other, 100));
  EXPECT_THROW(compare_runs({reduced(points_on(two), "a", true), reduced(several, "b", true)}),
               base::BadInput);
  EXPECT_THROW(compare_runs({reduced(several, "b", true)}), base::BadInput);
}

// Two runs on the same two sensors, drawn 4000 times with a known truth: relative errors of air
// speed and power common to both, random errors of each point. The 95 % intervals of the
// differences hold the true ones in 94 to 96 %, and are a small part of what independent runs would
// have. docs/theory/comparison.md has the rates of other shapes and numbers of points.
TEST(RunComparison, IntervalsOfDifferencesAreHonest) {
  std::mt19937 generator(2026);
  std::normal_distribution<double> normal;
  KnownCurve first;
  first.points = 16;
  first.u_random = 0.003;
  KnownCurve second = first;
  second.maximum = 0.325;
  second.optimum = 4.75;
  const auto measured = [&](const KnownCurve& known, double speed, double gain) {
    auto points = points_on_leaning(known);
    for (Point& point : points) {
      const auto scale = [&](const char* name, double factor) {
        auto& estimate = point.quantities.at(name);
        estimate = factor * estimate;
      };
      scale("air_speed_m_s", 1.0 + speed);
      scale("dc_power_W", (1.0 + gain) * (1.0 + known.u_random * normal(generator)));
    }
    return points;
  };
  constexpr int trials = 4000;
  int maximum = 0;
  int optimum = 0;
  double part = 0.0;
  for (int trial = 0; trial < trials; ++trial) {
    const double speed = first.u_speed * normal(generator);
    const double gain = first.u_gain * normal(generator);
    const RunComparison got = compare_runs({reduced(measured(second, speed, gain), "a", true),
                                            reduced(measured(first, speed, gain), "b", true)});
    const RunDifference& difference = got.curves.at(0).differences.at(0);
    const metrology::Agreement& of_maxima = difference.maximum_cp;
    const metrology::Agreement& of_optima = difference.optimum_tip_speed_ratio.value();
    maximum += std::abs(of_maxima.difference.value() - 0.005) < of_maxima.expanded ? 1 : 0;
    optimum += std::abs(of_optima.difference.value() - 0.05) < of_optima.expanded ? 1 : 0;
    part += of_maxima.difference.u() / difference.u_if_independent / trials;
  }
  EXPECT_NEAR(100.0 * maximum / trials, 95.0, 1.0);
  EXPECT_NEAR(100.0 * optimum / trials, 95.0, 1.0);
  EXPECT_LT(part, 0.1) << "of the standard uncertainty of independent runs";
}

}  // namespace
}  // namespace windwright::analysis
