// SPDX-License-Identifier: Apache-2.0
// Which moments exist, against integrals that anybody can do: the p-th moment of a t-distribution
// exists below its degrees of freedom (JCGM 101:2008, 6.4.9.4), bounded functions have all moments,
// exp of a normal variable has (lognormal), and distance^-q from a place to which the chance to be
// nearer than d goes as d^s has a mean for q < s and a variance for q < s/2 (docs/theory, Poles).
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
    EXPECT_EQ(got.undecided, "");
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

// The chance to be within d of the lower limit: d/2 of a rectangular density over 0 to 2, d^2/2 of
// a triangular, (2/pi) asin(sqrt(d/2)), as d^(1/2), of an arcsine.
TEST(TailMoments, OfQuotientsAtALimitGoByTheDensityThere) {
  const auto at_limit = [](Distribution distribution) {
    return with_limits(
        {.name = "x", .value = 1.0, .distribution = distribution, .half_width = 1.0});
  };
  const UncertainInput rectangular = at_limit(Distribution::rectangular);
  expect({{"1/x", rectangular, false, false},
          {"1/sqrt(x)", rectangular, true, false},
          {"x^(-1.5)", rectangular, false, false},
          {"x^(-0.4)", rectangular, true, true},
          {"1/(2 - x)", rectangular, false, false},
          {"1/log(3 - x)", rectangular, false, false},
          {"1/(x + 1e-3)", rectangular, true, true},
          {"sin(x)/x", rectangular, true, true},
          {"exp(1/x)", rectangular, false, false}});
  const UncertainInput triangular = at_limit(Distribution::triangular);
  expect({{"1/x", triangular, true, false},
          {"1/sqrt(x)", triangular, true, true},
          {"x^(-1.5)", triangular, true, false},
          {"1/x^2", triangular, false, false},
          {"1/(x - 1)", triangular, false, false}});
  const UncertainInput arcsine = at_limit(Distribution::arcsine);
  expect({{"1/x", arcsine, false, false},
          {"1/sqrt(x)", arcsine, false, false},
          {"x^(-1.5)", arcsine, false, false},
          {"x^(-0.4)", arcsine, true, false},
          {"x^(-0.25)", arcsine, true, false},
          {"x^(-0.2)", arcsine, true, true},
          {"1/sqrt(abs(x - 1))", arcsine, true, false}});
  UncertainInput trapezoid{.name = "x",
                           .value = 1.0,
                           .distribution = Distribution::trapezoidal,
                           .half_width = 1.0,
                           .top_half_width = 0.5};
  expect({{"1/x", with_limits(trapezoid), true, false}});
  trapezoid.top_half_width = 1.0;
  expect({{"1/x", with_limits(trapezoid), false, false}});
  UncertainInput inexact{.name = "x",
                         .value = 1.2,
                         .distribution = Distribution::curvilinear_trapezoid,
                         .half_width = 1.0,
                         .half_width_inexactness = 0.2};
  expect({{"1/x", with_limits(inexact), true, false}});
  inexact.value = 1.1;
  expect({{"1/x", with_limits(inexact), false, false}});
}

struct CaseOfTwo {
  const char* equation;
  std::vector<UncertainInput> inputs;
  bool mean;
  bool variance;
};
void expect_of_several(const std::vector<CaseOfTwo>& cases) {
  for (const CaseOfTwo& one : cases) {
    SCOPED_TRACE(testing::Message()
                 << one.equation << " at " << one.inputs[0].value << ", " << one.inputs[1].value);
    const TailMoments got = tail_moments(model_of(one.inputs, one.equation), 0);
    EXPECT_EQ(got.mean, one.mean);
    EXPECT_EQ(got.variance, one.variance);
    EXPECT_EQ(got.undecided, "");
  }
}

// Quotients whose divisor vanishes only where the dividend does as fast: x + 3, a + b, the mean
// between a and b, at most 1/2. So near to that place as growth is looked for, their digits are
// rounding. What does go to infinity does so in numbers as large.
TEST(TailMoments, OfQuotientsWithARemovableZeroExist) {
  const auto both = [](double a, double b, double u) {
    return std::vector{normal("a", a, u), normal("b", b, u)};
  };
  expect({{"(x^2 - 9)/(x - 3)", normal("x", 3.0, 0.001), true, true},
          {"(x^2 - 9)/(x - 3)^2", normal("x", 3.0, 0.001), false, false},
          {"1/(x^2 - 9)", normal("x", 3.0, 1e-6), false, false},
          {"(1 - cos(x))/x^2", normal("x", 0.1, 0.1), true, true},
          {"(1 - cos(x))/x^4", normal("x", 0.1, 0.1), false, false},
          {"(x - sin(x))/x^3", normal("x", 0.1, 0.1), true, true},
          {"log(1 + x)/x", normal("x", 0.001, 0.001), true, true}});
  expect_of_several({{"(a^2 - b^2)/(a - b)", both(7.2, 7.21, 0.01), true, true},
                     {"(a^2 - b^2)/(a - b)^2", both(7.2, 7.21, 0.01), false, false},
                     {"(a - b)/log(a/b)", both(10.0, 10.01, 0.02), true, true},
                     {"(a - b)/log(a/b)", both(20.0, 20.3, 0.2), true, true},
                     {"1/log(a/b)", both(20.0, 20.3, 0.2), false, false},
                     {"1/(a - b)", both(101325.0, 101325.02, 0.01), false, false}});
}

// In polar coordinates r^(k - 1) dr is left of the volume where k inputs vanish together: a mean
// for q < k, a variance for q < k/2. 1/sqrt(x^2 + z^2) of two standard normal inputs is 1/Rayleigh,
// with the mean sqrt(pi/2).
TEST(TailMoments, OfSeveralInputsThatVanishTogetherGoByTheirNumber) {
  const std::vector<UncertainInput> two{normal("x", 0.0, 1.0), normal("z", 0.0, 1.0)};
  const std::vector<UncertainInput> uneven{normal("x", 0.6, 0.5), normal("z", -3.0, 2.0)};
  std::vector<UncertainInput> three = two;
  three.push_back(normal("w", 0.4, 0.3));
  for (const auto& inputs : {two, uneven}) {
    expect_of_several({{"1/sqrt(x^2 + z^2)", inputs, true, false},
                       {"1/(x^2 + z^2)", inputs, false, false},
                       {"(x^2 + z^2)^(-0.4)", inputs, true, true},
                       {"(x^2 + z^2)^(-0.8)", inputs, true, false},
                       {"1/(x^2 + 3*z^2 - x*z)", inputs, false, false},
                       {"1/(x - z)^2", inputs, false, false},
                       {"1/sqrt(abs(x - z))", inputs, true, false},
                       {"((x - z)^2)^(-0.2)", inputs, true, true},
                       {"x/(x^2 + z^2)", inputs, true, false},
                       {"x/sqrt(x^2 + z^2)", inputs, true, true}});
  }
  expect_of_several(
      {{"1/(abs(x) + abs(z))", two, true, false}, {"1/max(abs(x), abs(z))", two, true, false}});
  expect_of_several({{"1/(x^2 + z^2 + w^2)", three, true, false},
                     {"1/sqrt(x^2 + z^2 + w^2)", three, true, true},
                     {"(x^2 + z^2 + w^2)^(-1.5)", three, false, false},
                     {"w/sqrt(x^2 + z^2)", three, true, false},
                     {"1/sqrt((x - w)^2 + z^2)", three, true, false},
                     // Two conditions on three inputs: a curve.
                     {"1/sqrt((x^2 + w^2 - 1)^2 + z^2)", three, true, false},
                     {"1/((x^2 + w^2 - 1)^2 + z^2)", three, false, false}});
}

// P(x^2 + z^4 < d) goes as d^(1/2 + 1/4); of x + z at the corner of two rectangular densities over
// 0 to 2 as d^2, of triangular ones as d^4.
TEST(TailMoments, OfUnequalInputsThatVanishTogetherGoByTheSumOfTheirParts) {
  const std::vector<UncertainInput> two{normal("x", 0.0, 1.0), normal("z", 0.0, 1.0)};
  expect_of_several({{"1/(x^2 + z^4)", two, false, false},
                     {"1/sqrt(x^2 + z^4)", two, true, false},
                     {"(x^2 + z^4)^(-0.35)", two, true, true}});
  const auto corner = [](Distribution first, Distribution second) {
    return std::vector<UncertainInput>{
        with_limits({.name = "x", .value = 1.0, .distribution = first, .half_width = 1.0}),
        with_limits({.name = "z", .value = 1.0, .distribution = second, .half_width = 1.0})};
  };
  const auto flat = Distribution::rectangular;
  const auto peaked = Distribution::triangular;
  expect_of_several(
      {{"1/(x + z)", corner(flat, flat), true, false},
       {"1/(x + z)^2", corner(flat, flat), false, false},
       {"1/(x + z)", corner(peaked, peaked), true, true},
       {"1/(x + 3*z)^2", corner(flat, peaked), true, false},
       {"1/(x + z)", corner(Distribution::arcsine, Distribution::arcsine), false, false},
       {"1/(x - z)", corner(flat, peaked), false, false},
       {"1/(x*z)", corner(flat, peaked), false, false}});
}

// a b > 1 in 0.33 % of the trials (the product of two standard normal inputs exceeds 4, its density
// K0(|p|) / pi: numerical integral), though the divisor has no slope at the inputs' values.
TEST(TailMoments, OfQuotientsAtASaddleGoByTheSurfaceBeyondIt) {
  const auto two = [](double u) { return std::vector{normal("a", 0.0, u), normal("b", 0.0, u)}; };
  std::vector<UncertainInput> many = two(0.5);
  for (const char* name : {"c", "d", "e", "f", "g", "h"})
    many.push_back(normal(name, 1.0, 0.1));
  expect_of_several({{"1/(1 - a*b)", two(0.5), false, false},
                     {"1/(1 + a*b)", two(0.5), false, false},
                     {"1/(1 - a*b)^2", two(0.5), false, false},
                     {"1/sqrt(abs(1 - a*b))", two(0.5), true, false},
                     {"1/(1 - a^2 + b^2)", two(0.5), false, false},
                     {"c*d*e*f*g*h/(1 - a*b)", many, false, false},
                     // Five standard uncertainties together leave a b below 0.78.
                     {"1/(1 - a*b)", two(0.25), true, true},
                     {"(1 - a*b)/(2 - 2*a*b)", two(0.5), true, true}});
}

TEST(TailMoments, SayWhereTheyAreNotDecided) {
  const MeasurementModel model = model_of({normal("x", 1.0, 1.0), normal("z", 1.0, 1.0)},
                                          "1/(sqrt(sqrt(abs(x))) * sqrt(x^2 + z^2))");
  const TailMoments got = tail_moments(model, 0);
  EXPECT_TRUE(got.mean);
  EXPECT_EQ(got.undecided, "x = 0, z = 0");
  EXPECT_EQ(open_moments(propagation(model, {.trials = 10'000}).outputs[0].monte_carlo),
            "near x = 0, z = 0 it goes to infinity, and it was not decided whether a mean and a "
            "standard uncertainty exist there: rely on the intervals");
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
