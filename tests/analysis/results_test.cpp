// SPDX-License-Identifier: Apache-2.0
#include "analysis/results.h"

#include "analysis/comparison.h"
#include "analysis/points.h"
#include "analysis/synthetic_points.h"
#include "base/errors.h"
#include "base/json.h"
#include "bench/bench.h"
#include "campaign/campaign.h"
#include "physics/generator.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <numbers>
#include <random>
#include <string>
#include <tuple>
#include <vector>

namespace windwright::analysis {
namespace {

const bench::Bench& saltmarsh() {
  static const bench::Bench bench = bench::bench_from_file(std::filesystem::path(SOURCE_FOLDER) /
                                                           "examples/saltmarsh-college/bench.toml");
  return bench;
}

const campaign::Question question{.text = "Which rotor?",
                                  .response = "maximum_cp",
                                  .factors = {"blade_count", "pitch_deg"},
                                  .level = 0.95};

Results reduced(std::vector<Point> points, const campaign::Question* asked = nullptr) {
  return reduce({.points = std::move(points), .rotor = saltmarsh().rotor, .question = asked});
}

TEST(Reduction, FindsTheMaximumOfAKnownCurve) {
  const Results results = reduced(points_on({}));
  ASSERT_EQ(results.curves.size(), 1U);
  const Curve& curve = results.curves[0];
  EXPECT_EQ(curve.label, "3 blades, 5 deg");
  EXPECT_EQ(curve.stage, "electrical");
  EXPECT_NEAR(curve.maximum_cp.value(), 0.32, 1e-9);
  ASSERT_TRUE(curve.optimum_tip_speed_ratio);
  EXPECT_NEAR(curve.optimum_tip_speed_ratio->value(), 4.7, 1e-6);
  ASSERT_GE(curve.fit.size(), 3U);
  EXPECT_NEAR(curve.fit[2], -0.02, 1e-6);
}

TEST(Reduction, CarriesCommonErrorsToTheMaximumExactly) {
  const KnownCurve known;
  const Curve curve = reduced(points_on(known)).curves[0];
  const auto& inputs = curve.maximum_cp.contributions();
  // cp goes with the DC power and with the inverse cube of the air speed; the tip-speed ratio only
  // moves the maximum sideways.
  EXPECT_NEAR(inputs.at("dc_voltage_V:standard-relative").u, known.u_gain * known.maximum, 1e-9);
  EXPECT_NEAR(inputs.at("air_speed_m_s:standard-relative").u, -3.0 * known.u_speed * known.maximum,
              1e-9);
  const auto& of_optimum = curve.optimum_tip_speed_ratio->contributions();
  EXPECT_NEAR(of_optimum.at("dc_voltage_V:standard-relative").u, 0.0, 1e-6);
  EXPECT_NEAR(of_optimum.at("air_speed_m_s:standard-relative").u, -known.u_speed * known.optimum,
              1e-6);
}

TEST(Reduction, AveragesRandomPartsOverTheCurve) {
  const KnownCurve known;
  const Curve curve = reduced(points_on(known)).curves[0];
  const double u_one_point = known.u_random * known.maximum;
  EXPECT_LT(curve.maximum_cp.u_random(), u_one_point);
  EXPECT_GT(curve.maximum_cp.u_random(), u_one_point / std::sqrt(known.points));
}

TEST(Reduction, LeavesTheOptimumOpenWhereTheMaximumIsNotInside) {
  KnownCurve known;
  auto points = points_on(known);
  points.resize(4);
  const Curve few = reduced(points).curves[0];
  EXPECT_FALSE(few.optimum_tip_speed_ratio);
  EXPECT_EQ(few.maximum_basis, "largest measured point: fewer than five points, too few to fit");

  auto rising = points_on({.points = 13});
  rising.resize(6);  // all below the optimum
  const Results results = reduced(rising);
  EXPECT_FALSE(results.curves[0].optimum_tip_speed_ratio);
  EXPECT_TRUE(results.curves[0].fit.empty());
  EXPECT_EQ(results.curves[0].maximum_cp.value(),
            results.curves[0].points.back().cp_electrical->value());
}

TEST(Reduction, KeepsAPointThatHadNotSettledOutOfTheFit) {
  auto points = points_on({});
  points[4].settled = false;
  points[4].quantities.at("dc_power_W") = 1.5 * points[4].quantities.at("dc_power_W");
  const Results results = reduced(points);
  EXPECT_NEAR(results.curves[0].maximum_cp.value(), 0.32, 1e-9);
  EXPECT_EQ(results.curves[0].points.size(), 9U) << "it is still shown";
}

TEST(Reduction, GivesTheScatterOfPointsWithoutStatedUncertaintyToTheFit) {
  auto points = points_on({});
  for (std::size_t i = 0; i < points.size(); ++i) {
    for (auto& [name, estimate] : points[i].quantities) {
      const double wobble = name == "dc_power_W" ? (i % 2 == 0 ? 1.01 : 0.99) : 1.0;
      estimate = metrology::Estimate(wobble * estimate.value());
    }
  }
  const Results results = reduced(points);
  const Curve& curve = results.curves[0];
  EXPECT_TRUE(curve.points[0].cp_electrical->contributions().empty());
  EXPECT_GT(curve.maximum_cp.u(), 0.0005);
  EXPECT_LT(curve.maximum_cp.u(), 0.01);
  const auto json = to_json(results);
  EXPECT_TRUE(json.at("points").at(0).at("cp_electrical").at("u").is_null())
      << "not stated, which is not zero";
}

struct Held {
  double maximum_pct;
  double optimum_pct;
};

// How often the 95 % intervals of one curve's largest cp and optimum hold the truth, of 3000 draws
// of the random errors alone: what is common to the points is carried exactly.
Held held_by(KnownCurve known, bool leaning) {
  known.u_gain = 0.0;
  known.u_speed = 0.0;
  std::mt19937 generator(11);
  std::normal_distribution<double> normal;
  constexpr int trials = 3000;
  int maximum = 0;
  int optimum = 0;
  for (int trial = 0; trial < trials; ++trial) {
    auto points = leaning ? points_on_leaning(known) : points_on(known);
    for (Point& point : points) {
      auto& power_W = point.quantities.at("dc_power_W");
      power_W = (1.0 + known.u_random * normal(generator)) * power_W;
    }
    const Results results =
        reduce({.points = points, .rotor = saltmarsh().rotor, .with_theory = false});
    const Curve& curve = results.curves.at(0);
    if (!curve.optimum_tip_speed_ratio) continue;
    maximum +=
        std::abs(curve.maximum_cp.value() - known.maximum) < curve.maximum_cp.expanded() ? 1 : 0;
    const auto& place = *curve.optimum_tip_speed_ratio;
    optimum += std::abs(place.value() - known.optimum) < place.expanded() ? 1 : 0;
  }
  return {100.0 * maximum / trials, 100.0 * optimum / trials};
}

// Curves that lean as rotors' do, so that no polynomial is the truth, and a parabola. Of the
// optimum a parabola through the second row's points would hold it in 29 %.
TEST(Reduction, IntervalsOfASingleCurveAreHonest) {
  for (const auto& [points, u, leaning] :
       {std::tuple{16, 0.01, true}, std::tuple{9, 0.01, true}, std::tuple{9, 0.003, false}}) {
    KnownCurve known;
    known.points = points;
    known.u_random = u;
    const Held held = held_by(known, leaning);
    EXPECT_NEAR(held.maximum_pct, 95.0, 1.0) << points << ' ' << u << ' ' << leaning;
    EXPECT_NEAR(held.optimum_pct, 95.0, 1.0) << points << ' ' << u << ' ' << leaning;
  }
}

TEST(Reduction, SaysWhereOnlyAParabolaCanBeFitted) {
  KnownCurve known;
  known.points = 5;
  const Results few = reduced(points_on(known));
  EXPECT_EQ(few.curves.at(0).fit.size(), 3U);
  EXPECT_NE(boost::json::serialize(to_json(few)).find("a parabola through few points"),
            std::string::npos);
  known.points = 6;
  const Results enough = reduced(points_on(known));
  EXPECT_EQ(enough.curves.at(0).fit.size(), 4U);
  EXPECT_EQ(boost::json::serialize(to_json(enough)).find("parabola"), std::string::npos);
  EXPECT_NEAR(enough.curves.at(0).optimum_tip_speed_ratio->value(), known.optimum, 1e-9);
}

TEST(Reduction, ModelledLossesLeadFromTheDcTerminalsBackToTheShaft) {
  // The generator model's own operating point, seen through perfect instruments.
  constexpr double speed_rad_s = 150.0;
  const auto load = physics::generator_load(saltmarsh().generator, speed_rad_s, 12.0);
  Point point;
  point.number = 1;
  point.blade_count = 3;
  point.pitch_deg = 5.0;
  for (const auto& [name, value] :
       std::vector<std::pair<std::string, double>>{{"air_speed_m_s", 9.0},
                                                   {"rotor_speed_rad_s", speed_rad_s},
                                                   {"air_density_kg_m3", 1.2},
                                                   {"dc_voltage_V", load.dc_voltage_V},
                                                   {"dc_current_A", load.dc_current_A},
                                                   {"dc_power_W", load.dc_power_W}})
    point.quantities.emplace(name, metrology::Estimate(value));
  const Results results =
      reduce({.points = {point}, .rotor = saltmarsh().rotor, .bench = &saltmarsh()});
  const PointResult& result = results.curves[0].points[0];
  EXPECT_NEAR(result.shaft_torque_N_m->value(), load.shaft_torque_N_m,
              1e-9 * load.shaft_torque_N_m);
  ASSERT_EQ(result.stages.size(), 4U);
  EXPECT_EQ(result.stages[2].name, "generator");
  EXPECT_NEAR(result.stages[2].power_W.value(), load.ac_power_W, 1e-9 * load.ac_power_W);
  EXPECT_EQ(result.stages[1].basis, "measured plus modelled losses");
  // Nothing but the modelled losses is uncertain here.
  const double u = saltmarsh().u_loss_relative;
  EXPECT_NEAR(result.shaft_power_W->contributions().at("generator:winding-loss").u,
              u * load.winding_loss_W, 1e-9 * load.winding_loss_W);
  EXPECT_NEAR(result.shaft_power_W->u(),
              u * std::sqrt(std::pow(load.rectifier_loss_W, 2) + std::pow(load.winding_loss_W, 2) +
                            std::pow(load.iron_loss_W, 2) + std::pow(load.bearing_loss_W, 2)),
              1e-9);
  double product = 1.0;
  for (const Stage& stage : result.stages)
    product *= stage.efficiency.value();
  EXPECT_NEAR(product, result.cp_electrical->value(), 1e-12);
}

TEST(Verdict, SameRotorTwiceIsNotADifference) {
  auto points = points_on({.blade_count = 2});
  append(points, points_on({.blade_count = 3}, 101));
  const Results results = reduced(points, &question);
  ASSERT_TRUE(results.verdict);
  EXPECT_FALSE(results.verdict->significant);
  EXPECT_NEAR(results.verdict->difference.value(), 0.0, 1e-12);
  EXPECT_TRUE(results.verdict->answer.starts_with("Not decided: "));
}

TEST(Verdict, CommonErrorsCancelInADifference) {
  auto points = points_on({.blade_count = 2, .maximum = 0.300});
  append(points, points_on({.blade_count = 3, .maximum = 0.306}, 101));
  const Results results = reduced(points, &question);
  // Each maximum is known to 1.8 %, 0.0054; the difference of 0.006 much better, since gain and air
  // speed err alike on both.
  EXPECT_GT(results.curves[0].maximum_cp.u(), 0.005);
  EXPECT_LT(results.verdict->difference.u(), 0.0004);
  EXPECT_TRUE(results.verdict->significant);
  EXPECT_TRUE(results.verdict->answer.starts_with("3 blades at 5 deg give the largest electrical"))
      << results.verdict->answer;
}

TEST(Verdict, ComparesAllPairsAtAnAdjustedLevel) {
  auto points = points_on({.blade_count = 2, .pitch_deg = 5.0, .maximum = 0.30});
  append(points, points_on({.blade_count = 2, .pitch_deg = 10.0, .maximum = 0.24}, 101));
  append(points, points_on({.blade_count = 3, .pitch_deg = 5.0, .maximum = 0.33}, 201));
  append(points, points_on({.blade_count = 3, .pitch_deg = 10.0, .maximum = 0.28}, 301));
  const Verdict verdict = *reduced(points, &question).verdict;
  ASSERT_EQ(verdict.differences.size(), 6U);
  const Difference& first = verdict.differences[0];
  EXPECT_EQ(first.a, "3 blades, 5 deg");
  EXPECT_EQ(first.b, "2 blades, 5 deg");
  EXPECT_DOUBLE_EQ(first.expanded, first.difference.expanded(1.0 - 0.05 / 6.0));
  EXPECT_GT(first.expanded, first.difference.expanded(0.95));
  EXPECT_NE(verdict.answer.find("3 blades give more than 2 blades, whatever"), std::string::npos)
      << verdict.answer;
  EXPECT_NE(verdict.answer.find("A pitch of 5 deg gives more than 10 deg, whatever"),
            std::string::npos)
      << verdict.answer;
  // The same for readers of another language.
  EXPECT_EQ(verdict.code, "decided");
  EXPECT_EQ(verdict.response, "electrical");
  ASSERT_EQ(verdict.compared.size(), 4U);
  EXPECT_EQ(verdict.compared[0].levels.at("blade_count"), 3.0);
  EXPECT_EQ(verdict.compared[0].levels.at("pitch_deg"), 5.0);
  EXPECT_TRUE(verdict.compared[0].may_be_best);
  EXPECT_FALSE(verdict.compared[1].may_be_best);
  ASSERT_EQ(verdict.winners.size(), 2U);
  EXPECT_EQ(verdict.winners[1].factor, "pitch_deg");
  EXPECT_EQ(verdict.winners[1].others, std::vector<double>{10.0});
}

TEST(Verdict, WithoutStatedUncertaintyNothingIsSignificant) {
  auto points = points_on({.blade_count = 2, .maximum = 0.20, .points = 4});
  append(points, points_on({.blade_count = 3, .maximum = 0.40, .points = 4}, 101));
  for (Point& point : points) {
    for (auto& [name, estimate] : point.quantities)
      estimate = metrology::Estimate(estimate.value());
  }
  const Verdict verdict = *reduced(points, &question).verdict;
  EXPECT_FALSE(verdict.significant);
  EXPECT_EQ(verdict.code, "no_uncertainty");
  EXPECT_NE(verdict.answer.find("No uncertainty is stated"), std::string::npos) << verdict.answer;
}

TEST(Verdict, RefusesAResponseItDoesNotKnow) {
  campaign::Question other = question;
  other.response = "noise";
  EXPECT_THROW(reduced(points_on({}), &other), base::BadInput);
}

TEST(Verdict, RoundsToTwoDigitsOfTheUncertainty) {
  EXPECT_EQ(with_uncertainty(0.312345, 0.00412), "0.3123 ± 0.0041");
  EXPECT_EQ(with_uncertainty(4.6234, 0.12), "4.62 ± 0.12");
  EXPECT_EQ(with_uncertainty(1234.5, 25.0), "1234 ± 25");
  EXPECT_EQ(with_uncertainty(0.3537, 0.0), "0.3537") << "not stated";
}

TEST(Budget, SharesAddToTheWhole) {
  const Results results = reduced(points_on({}));
  ASSERT_FALSE(results.budget.empty());
  double sum = 0.0;
  double variance = 0.0;
  double last = 100.0;
  for (const BudgetLine& line : results.budget) {
    sum += line.share_pct;
    variance += line.u * line.u;
    EXPECT_LE(line.share_pct, last) << "largest first";
    EXPECT_FALSE(line.meaning.empty());
    last = line.share_pct;
  }
  EXPECT_NEAR(sum, 100.0, 1e-9);
  EXPECT_NEAR(std::sqrt(variance), results.curves[0].maximum_cp.u(), 1e-12);
  EXPECT_EQ(results.budget[0].input, "air_speed_m_s:standard");
}

TEST(Results, ReadBackPointsGiveTheSameBytes) {
  auto points = points_on({.blade_count = 2, .maximum = 0.30});
  append(points, points_on({.blade_count = 3, .maximum = 0.31}, 101));
  const auto back = points_from_text(points_csv(points), "points.csv");
  EXPECT_EQ(base::json_text(to_json(reduced(back, &question))),
            base::json_text(to_json(reduced(points, &question))));
  EXPECT_EQ(curves_csv(reduced(back)), curves_csv(reduced(points)));
}

}  // namespace
}  // namespace windwright::analysis
