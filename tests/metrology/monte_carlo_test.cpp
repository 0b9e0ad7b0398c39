// SPDX-License-Identifier: Apache-2.0
#include "metrology/monte_carlo.h"

#include "base/errors.h"
#include "metrology/equation.h"
#include "metrology/measurement_model.h"
#include "metrology/propagation.h"

#include <gtest/gtest.h>
#include <hwy/targets.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

MeasurementModel model_of(const std::vector<UncertainInput>& inputs,
                          const std::vector<std::string>& equations) {
  MeasurementModel model;
  model.inputs = inputs;
  std::vector<Equation> named;
  EquationNames names;
  for (const UncertainInput& input : inputs)
    names.inputs.push_back(input.name);
  for (const std::string& text : equations) {
    model.outputs.push_back("y" + std::to_string(named.size()));
    model.equations.push_back(text);
    model.places.push_back("budget.toml:3");
    named.push_back({.name = model.outputs.back(), .text = text, .where = "budget.toml:3"});
  }
  model.program = compiled(named, named.size(), names);
  return model;
}

UncertainInput normal(const std::string& name, double value, double u) {
  return {.name = name, .value = value, .standard_uncertainty = u};
}

// Every kind of draw and of step, correlated inputs, an output without a value now and then.
MeasurementModel everything() {
  std::vector<UncertainInput> inputs{normal("a", 2.0, 0.3), normal("b", 1.0, 0.2),
                                     normal("t", 0.5, 0.1)};
  inputs[0].degrees_of_freedom = inputs[1].degrees_of_freedom = 7.0;  // joint t
  inputs[2].degrees_of_freedom = 5.5;
  for (const Distribution distribution :
       {Distribution::rectangular, Distribution::triangular, Distribution::trapezoidal,
        Distribution::arcsine, Distribution::curvilinear_trapezoid}) {
    inputs.push_back(with_limits({.name = "d" + std::to_string(inputs.size()),
                                  .value = 0.4,
                                  .distribution = distribution,
                                  .half_width = 0.3,
                                  .top_half_width = 0.1,
                                  .half_width_inexactness = 0.1}));
  }
  MeasurementModel model = model_of(
      inputs,
      {"a^2.3 * exp(b) / (1 + t) + sin(d3) * cos(d4) - tan(d5)",
       "log(abs(a * b)) + asin(d6) + acos(d7) + atan2(a, b) + sinh(t) * tanh(d3) - cosh(d4)",
       "sqrt(d3) * min(a, b, t) + max(d5, d6) + a^5 / b^-2 + log10(a + 9)"});
  model.groups = groups_of(inputs, std::vector<StatedCorrelation>{{0, 1, -0.7, "t"}});
  return model;
}

// A result must not depend on the machine that computed it.
TEST(MonteCarlo, IsTheSameToTheBitWithEveryInstructionSet) {
  const auto figures = [] {
    const MonteCarlo got = monte_carlo(everything(), {.trials = 20'001, .seed = 7});
    std::vector<double> list = got.correlation;
    for (const auto& trials : trials_of(everything(), 7, 20'001)) {
      for (const double trial : trials)
        list.push_back(std::isnan(trial) ? 0.0 : trial);
    }
    for (const MonteCarloOutput& output : got.outputs) {
      list.insert(list.end(), {output.intervals.symmetric.low, output.intervals.symmetric.high,
                               output.intervals.shortest.low, output.intervals.shortest.high,
                               static_cast<double>(output.not_finite)});
    }
    return list;
  };
  const std::vector<double> widest = figures();
  int tried = 0;
  for (auto left = hwy::SupportedTargets(); left != 0; left &= left - 1) {
    const auto target = left & -left;
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
    EXPECT_TRUE(figures() == widest) << hwy::TargetName(target);
    ++tried;
    hwy::SetSupportedTargetsForTest(0);
  }
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
  EXPECT_GE(tried, 1);
  RecordProperty("instruction_sets", tried);
}

TEST(MonteCarlo, GivesTheSameTrialsForTheSameSeedHoweverMany) {
  const MeasurementModel model = everything();
  const auto few = trials_of(model, 5, 1000);
  const auto many = trials_of(model, 5, 5000);
  for (std::size_t n = 0; n < 1000; ++n) {
    EXPECT_TRUE(few[0][n] == many[0][n] || (std::isnan(few[0][n]) && std::isnan(many[0][n])));
  }
  EXPECT_NE(few[0], trials_of(model, 6, 1000)[0]);
}

TEST(MonteCarlo, GoesOnUntilItsResultsAreStable) {
  const MeasurementModel model = model_of({normal("a", 0.0, 1.0)}, {"a"});
  const MonteCarlo coarse = monte_carlo(model, {.tolerances = {0.05}});
  const MonteCarlo fine = monte_carlo(model, {.tolerances = {0.005}});
  EXPECT_TRUE(coarse.adaptive);
  EXPECT_TRUE(coarse.stable);
  EXPECT_EQ(coarse.trials, 100'000U);  // the least that tells
  // Twice the standard error of a 2.5 % point, 2 * 2.67 / sqrt(n), is 0.005 at 1.1 million.
  EXPECT_GT(fine.trials, 500'000U);
  EXPECT_LT(fine.trials, 2'500'000U);
  EXPECT_NEAR(fine.outputs[0].intervals.symmetric.high, 1.959964, 0.01);
  EXPECT_NEAR(fine.outputs[0].numerical_tolerance, 0.005, 0.001);
  const MonteCarlo cut = monte_carlo(model, {.most_trials = 200'000, .tolerances = {0.0005}});
  EXPECT_FALSE(cut.stable);
  EXPECT_EQ(cut.trials, 200'000U);
}

TEST(MonteCarlo, CountsTrialsWithoutAValueAndTellsThem) {
  // Below 0 with a chance of 2.275 %.
  const MeasurementModel model = model_of({normal("a", 2.0, 1.0)}, {"sqrt(a)"});
  const Propagation got = propagation(model, {.trials = 100'000});
  const MonteCarloOutput& output = got.outputs.at(0).monte_carlo;
  EXPECT_EQ(output.trials + output.not_finite, 100'000U);
  EXPECT_NEAR(static_cast<double>(output.not_finite) / 100'000.0, 0.02275, 0.002);
  ASSERT_FALSE(got.remarks.empty());
  EXPECT_EQ(got.remarks.at(0).rfind("y0 has no value in 2", 0), 0U) << got.remarks.at(0);
}

TEST(MonteCarlo, RefusesAnEquationThatMostlyHasNoValue) {
  const MeasurementModel model = model_of({normal("a", 0.1, 9.0)}, {"sqrt(a) + sqrt(1 - a)"});
  try {
    monte_carlo(model, {.trials = 1000});
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("budget.toml:3: y0 has no value in "),
              std::string::npos)
        << error.what();
  }
}

// Two independent standard normal outputs: 95 % lie within sqrt(5.9915) = 2.4477 of the middle
// (chi-squared with two degrees of freedom) and within 2.2365 each way (square root of 0.95).
TEST(MonteCarlo, FindsTheJointRegionOfTwoOutputs) {
  const MeasurementModel model =
      model_of({normal("a", 0.0, 1.0), normal("b", 0.0, 3.0)}, {"a", "b"});
  const Propagation got = propagation(model, {.trials = 400'000});
  EXPECT_NEAR(got.first_order_joint->ellipsoid_factor, 2.4477, 1e-4);
  EXPECT_NEAR(got.first_order_joint->box_factor, 2.2365, 1e-4);
  EXPECT_NEAR(got.monte_carlo.joint->ellipsoid_factor, 2.4477, 0.01);
  EXPECT_NEAR(got.monte_carlo.joint->box_factor, 2.2365, 0.01);
  const MeasurementModel twice = model_of({normal("a", 1.0, 1.0)}, {"a", "2 * a"});
  EXPECT_TRUE(std::isnan(propagation(twice, {.trials = 1000}).monte_carlo.joint->ellipsoid_factor));
}

}  // namespace
}  // namespace windwright::metrology
