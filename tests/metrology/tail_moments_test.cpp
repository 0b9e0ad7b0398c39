// SPDX-License-Identifier: Apache-2.0
// Which moments exist, against integrals that anybody can do: the p-th moment of a t-distribution
// exists below its degrees of freedom (JCGM 101:2008, 6.4.9.4), bounded functions have all moments,
// exp of a normal variable has (lognormal), and |distance|^-q from a place where the density is not
// zero has a mean for q < 1 and a variance for q < 1/2.
#include "metrology/tail_moments.h"

#include "metrology/equation.h"
#include "metrology/measurement_model.h"
#include "metrology/propagation.h"
#include "metrology/typed_model.h"
#include "metrology/uncertain_input.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

constexpr double known = std::numeric_limits<double>::infinity();

UncertainInput normal(const std::string& name, double value, double u, double dof = known) {
  return {.name = name, .value = value, .standard_uncertainty = u, .degrees_of_freedom = dof};
}
UncertainInput bounded(double value, double half_width, double dof = known) {
  return with_limits({.name = "x",
                      .value = value,
                      .distribution = Distribution::rectangular,
                      .degrees_of_freedom = dof,
                      .half_width = half_width});
}

struct Case {
  const char* equation;
  UncertainInput x;
  bool mean;
  bool variance;
};
void expect(const std::vector<Case>& cases) {
  for (const Case& one : cases) {
    SCOPED_TRACE(testing::Message()
                 << one.equation << " at " << one.x.value << ", u " << one.x.standard_uncertainty
                 << ", degrees of freedom " << one.x.degrees_of_freedom);
    const TailMoments got = tail_moments(model_of({one.x}, one.equation), 0);
    EXPECT_EQ(got.mean, one.mean);
    EXPECT_EQ(got.variance, one.variance);
  }
}

TEST(TailMoments, OfBoundedEquationsExist) {
  const UncertainInput few = normal("x", 1.0, 0.2, 1.0);
  expect({{"sin(x)", few, true, true},
          {"cos(3*x) + 2", few, true, true},
          {"atan(x)", few, true, true},
          {"tanh(x)", few, true, true},
          {"exp(-x^2)", few, true, true},
          {"exp(sin(x))", few, true, true},
          {"x^2 / (1 + x^2)", few, true, true},
          {"1 / (1 + x^2)", few, true, true},
          {"sin(x)", normal("x", 1.0, 0.2), true, true},
          {"sin(x)", bounded(1.0, 0.5), true, true}});
}

TEST(TailMoments, OfRootsAskForFewerDegreesOfFreedom) {
  expect({{"sqrt(abs(x))", normal("x", 1.0, 0.2, 1.0), true, false},
          {"sqrt(abs(x))", normal("x", 1.0, 0.2, 0.5), false, false},
          {"sqrt(abs(x))", normal("x", 1.0, 0.2, 1.1), true, true},
          {"log(1 + x^2)", normal("x", 1.0, 0.2, 1.0), true, true},
          {"sqrt(x)", normal("x", 1.0, 0.01), true, true},
          {"sqrt(x)", bounded(0.5, 0.5, 1.0), true, true},
          {"x*sin(x)", normal("x", 1.0, 0.2, 1.0), false, false},
          {"x*sin(x)", normal("x", 1.0, 0.2, 2.0), true, false},
          {"x*sin(x)", normal("x", 1.0, 0.2, 2.1), true, true}});
}

TEST(TailMoments, OfExponentialsGoWithTTailsAlone) {
  expect({{"exp(x)", normal("x", 1.0, 0.5), true, true},
          {"exp(x)", bounded(1.0, 0.5, 2.0), true, true},
          {"exp(x)", normal("x", 1.0, 0.5, 30.0), false, false}});
}

TEST(TailMoments, OfQuotientsGoWhereTheDivisorReachesZero) {
  const UncertainInput through = bounded(0.2, 1.0);
  expect({{"1/x", normal("x", 10.0, 1.0), true, true},
          {"1/x", normal("x", 1.0, 0.5), false, false},
          {"1/x", normal("x", 0.0, 1.0), false, false},
          {"1e9 + 1/x", normal("x", 1.0, 0.5), false, false},
          {"1/x", bounded(1.0, 0.5), true, true},
          {"1/x", through, false, false},
          {"x^(-2)", through, false, false},
          {"1/x^2", through, false, false},
          {"1/sqrt(abs(x))", through, true, false},
          {"abs(x)^(-0.3)", through, true, true},
          {"log(abs(x))", through, true, true},
          {"sin(x)/x", through, true, true},
          {"(x^2 - 1)/(x - 1)", normal("x", 1.0, 0.1), true, true},
          {"abs(x)/x", through, true, true},
          {"1/(x - 3)/(x + 1)", through, true, true},
          {"1/(x - 1)/(x + 3)", through, false, false},
          {"tan(x)", normal("x", 0.5, 0.1), true, true},
          {"tan(x)", normal("x", 1.5, 0.1), false, false}});
}

// Two readings that are off alike never meet.
TEST(TailMoments, CountCorrelationsOnTheWayToAPole) {
  const std::vector<UncertainInput> pair{normal("a", 2.0, 1.0), normal("b", 1.0, 1.0)};
  EXPECT_FALSE(tail_moments(model_of(pair, "1/(a - b)"), 0).mean);
  EXPECT_TRUE(
      tail_moments(model_of(pair, "1/(a - b)", {{0, 1, 0.9999, "budget.toml:9"}}), 0).variance);
}

TEST(TailMoments, SayWhatTakesThemAway) {
  const auto said = [](const MeasurementModel& model) {
    return no_moments(propagation(model, {.trials = 10'000}).outputs[0].monte_carlo);
  };
  EXPECT_EQ(said(model_of({normal("x", 1.0, 0.2, 1.0)}, "sin(x)")), "");
  EXPECT_EQ(said(model_of({bounded(0.25, 1.0)}, "1/x")),
            "near x = 0 it grows as the power 1 of one over the distance from there: the trials "
            "have intervals, but neither a mean nor a standard uncertainty exists");
  EXPECT_EQ(said(model_of({normal("x", 1.0, 0.2, 1.0)}, "sqrt(abs(x))")),
            "far out it grows as the power 0.5 of x, whose t-distribution has 1 degrees of "
            "freedom: the trials have intervals, but their standard uncertainty does not exist");
}

}  // namespace
}  // namespace windwright::metrology
