// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <map>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

constexpr double known = std::numeric_limits<double>::infinity();

Estimate estimate(double value, std::map<std::string, Contribution> contributions) {
  return {value, std::move(contributions)};
}

TEST(Estimate, DifferenceOfTwoReadingsOfOneSensorLosesItsCommonError) {
  const Estimate a = estimate(10.0, {{"v:standard", {0.3, known}}, {"v:mean#1", {0.03, 20.0}}});
  const Estimate b = estimate(9.0, {{"v:standard", {0.3, known}}, {"v:mean#2", {0.04, 20.0}}});
  EXPECT_NEAR((a - b).u(), 0.05, 1e-15);
  EXPECT_NEAR((a + b).u(), std::hypot(0.6, 0.05), 1e-15);
  EXPECT_NEAR(covariance(a, b), 0.09, 1e-15);
}

TEST(Estimate, RatioOfReadingsLosesACommonScaleError) {
  const Estimate a = estimate(8.0, {{"p:standard-relative", {0.08, known}}});
  const Estimate b = estimate(2.0, {{"p:standard-relative", {0.02, known}}});
  EXPECT_NEAR((a / b).value(), 4.0, 1e-15);
  EXPECT_NEAR((a / b).u(), 0.0, 1e-15);
  EXPECT_NEAR((a * b).u(), 0.02 * 16.0, 1e-15);
}

TEST(Estimate, PowerScalesTheRelativeUncertaintyByItsExponent) {
  const Estimate v = estimate(7.0, {{"v", {0.07, known}}});
  EXPECT_NEAR(power(v, 3.0).u() / power(v, 3.0).value(), 0.03, 1e-15);
  EXPECT_NEAR(power(v, -0.5).u() / power(v, -0.5).value(), 0.005, 1e-15);
  EXPECT_EQ(power(v, 0.0).u(), 0.0);
}

TEST(Estimate, SplitsRandomFromSystematicByName) {
  const Estimate a = estimate(1.0, {{"v:standard", {0.3, known}}, {"v:mean#12", {-0.4, 9.0}}});
  EXPECT_NEAR(a.u_systematic(), 0.3, 1e-15);
  EXPECT_NEAR(a.u_random(), 0.4, 1e-15);
  EXPECT_NEAR(a.u(), 0.5, 1e-15);
}

TEST(Estimate, CombinesDegreesOfFreedomOfIndependentInputs) {
  // Two equal parts of 5 degrees each make 10; a known part of the same size makes 4 times 5.
  EXPECT_NEAR(estimate(0.0, {{"a", {1.0, 5.0}}, {"b", {1.0, 5.0}}}).dof(), 10.0, 1e-12);
  EXPECT_NEAR(estimate(0.0, {{"a", {1.0, 5.0}}, {"b", {1.0, known}}}).dof(), 20.0, 1e-12);
  EXPECT_TRUE(std::isinf(estimate(0.0, {{"a", {1.0, known}}}).dof()));
  EXPECT_TRUE(std::isinf(Estimate(3.0).dof()));
}

TEST(Estimate, PartsOfOneVarianceEstimateDoNotAddDegreesOfFreedom) {
  const Estimate fit = estimate(0.0, {{"v:calibration-0", {1.0, 5.0}},
                                      {"v:calibration-1", {1.0, 5.0}},
                                      {"v:residual", {1.0, 5.0}}});
  EXPECT_NEAR(fit.dof(), 5.0, 1e-12);
  const Estimate points = estimate(0.0, {{"v:mean-0#1", {1.0, 5.0}}, {"v:mean-0#2", {1.0, 5.0}}});
  EXPECT_NEAR(points.dof(), 10.0, 1e-12);
}

TEST(Estimate, AddJoinsInputsOfTheSameName) {
  Estimate a(1.0);
  a.add("v", {0.2, 8.0});
  a.add("v", {-0.5, known});
  EXPECT_NEAR(a.u(), 0.3, 1e-15);
  EXPECT_EQ(a.dof(), 8.0);
}

TEST(Propagate, AgreesWithTheClosedFormOfAProduct) {
  const std::vector<Estimate> arguments{estimate(3.0, {{"a", {0.01, 7.0}}, {"c", {0.02, 9.0}}}),
                                        estimate(5.0, {{"b", {0.03, 5.0}}, {"c", {0.01, 9.0}}}),
                                        Estimate(2.0)};
  const Estimate got =
      propagate([](std::span<const double> x) { return x[0] * x[1] / x[2]; }, arguments);
  const Estimate wanted = 0.5 * (arguments[0] * arguments[1]);
  EXPECT_NEAR(got.value(), wanted.value(), 1e-12);
  EXPECT_NEAR(got.u(), wanted.u(), 1e-12);
  EXPECT_NEAR(got.dof(), wanted.dof(), 1e-8);
}

TEST(Propagate, KeepsItsFootingWhereTheUncertaintyIsTiny) {
  const std::vector<Estimate> arguments{estimate(2.0, {{"a", {1e-14, known}}})};
  const Estimate got =
      propagate([](std::span<const double> x) { return x[0] * x[0] * x[0]; }, arguments);
  EXPECT_NEAR(got.u(), 12e-14, 1e-20);
}

}  // namespace
}  // namespace windwright::metrology
