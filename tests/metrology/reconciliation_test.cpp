// SPDX-License-Identifier: Apache-2.0
#include "metrology/reconciliation.h"

#include "base/errors.h"
#include "metrology/gross_error.h"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

// One flow seen twice, split into two: a = b, b = c + d.
BalanceProblem split_flow() {
  return {.quantities = {"a", "b", "c", "d"},
          .measured = {10.2, 9.9, 6.1, 4.1},
          .covariance = {0.04, 0, 0, 0, 0, 0.01, 0, 0, 0, 0, 0.01, 0, 0, 0, 0, 0.01},
          .balances = {"pipe", "branch"},
          .coefficients = {1, -1, 0, 0, 0, 1, -1, -1}};
}

std::string refusal(const BalanceProblem& problem, const TestLevels& levels = {}) {
  try {
    reconcile(problem, levels);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "accepted";
}

// JCGM 100:2008 and every textbook: weights 1 / u^2.
TEST(Reconciliation, TwoMeasurementsOfOneThingGiveTheirWeightedMean) {
  const BalanceProblem problem{.quantities = {"one", "other"},
                               .measured = {10.0, 10.6},
                               .covariance = {0.01, 0.0, 0.0, 0.04},
                               .balances = {"equal"},
                               .coefficients = {1.0, -1.0}};
  const Reconciliation result = reconcile(problem);
  for (const ReconciledQuantity& quantity : result.quantities) {
    EXPECT_NEAR(quantity.value.value(), (10.0 / 0.01 + 10.6 / 0.04) / (1 / 0.01 + 1 / 0.04), 1e-12);
    EXPECT_NEAR(quantity.u, std::sqrt(1.0 / (1 / 0.01 + 1 / 0.04)), 1e-14);
    EXPECT_NEAR(quantity.test.value(), 0.6 / std::sqrt(0.05), 1e-12);
  }
  EXPECT_NEAR(result.global->statistic, 0.36 / 0.05, 1e-12);
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  ASSERT_EQ(found.findings.size(), 1U);
  EXPECT_EQ(found.findings[0].names, (std::vector<std::string>{"one", "other"}))
      << "nothing says which of two is wrong";
  EXPECT_EQ(found.corrected.quantities[1].value, 10.6) << "the first named is not believed";
}

TEST(Reconciliation, SolvesForWhatIsNotMeasuredWhereItCan) {
  BalanceProblem problem = split_flow();
  problem.measured[3] = std::nullopt;
  const Reconciliation result = reconcile(problem);
  EXPECT_EQ(result.global->dof, 1);
  EXPECT_EQ(result.quantities[0].standing, Standing::redundant);
  EXPECT_EQ(result.quantities[2].standing, Standing::not_redundant);
  EXPECT_EQ(result.quantities[3].standing, Standing::observable);
  const double flow = (10.2 / 0.04 + 9.9 / 0.01) / (1 / 0.04 + 1 / 0.01);
  EXPECT_NEAR(result.quantities[3].value.value(), flow - 6.1, 1e-12);
  EXPECT_NEAR(result.quantities[3].u, std::sqrt(1.0 / 125.0 + 0.01), 1e-14);
  EXPECT_FALSE(result.balances[1].residual.has_value());
  EXPECT_TRUE(result.balances[0].nodal_test.has_value());
}

TEST(Reconciliation, SaysWhatTheBalancesLeaveOpen) {
  BalanceProblem problem = split_flow();
  problem.measured[2] = std::nullopt;
  problem.measured[3] = std::nullopt;
  const Reconciliation result = reconcile(problem);
  EXPECT_EQ(result.quantities[2].standing, Standing::unobservable);
  EXPECT_EQ(result.quantities[3].standing, Standing::unobservable);
  EXPECT_FALSE(result.quantities[3].value.has_value());
}

TEST(Reconciliation, WithoutRedundancyThereIsNothingToTest) {
  BalanceProblem problem = split_flow();
  problem.measured[0] = std::nullopt;
  problem.measured[3] = std::nullopt;
  const Reconciliation result = reconcile(problem);
  EXPECT_FALSE(result.global.has_value());
  EXPECT_EQ(result.quantities[1].value, 9.9);
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  EXPECT_TRUE(found.findings.empty());
  EXPECT_FALSE(found.tests[0].test.has_value());
  EXPECT_EQ(found.tests[0].group, no_group);
}

// b is in both balances; c and d only in one, with one coefficient.
TEST(Reconciliation, NamesTogetherWhatEntersTheBalancesAlike) {
  BalanceProblem problem = split_flow();
  problem.measured[2] = 7.5;
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  ASSERT_FALSE(found.findings.empty());
  EXPECT_EQ(found.findings[0].names, (std::vector<std::string>{"c", "d"}));
  EXPECT_EQ(found.groups.size(), 3U);
}

TEST(Reconciliation, FindsTwoSensorsOneAfterTheOther) {
  const std::size_t count = 5;
  BalanceProblem problem{
      .quantities = {"a", "b", "c", "d", "e"},
      .measured = {10.0, 10.01, 9.99, 14.0, 6.5},
      .covariance = std::vector<double>(count * count, 0.0),
      .balances = {"ab", "bc", "cd", "de"},
      .coefficients = {1, -1, 0, 0, 0, 0, 1, -1, 0, 0, 0, 0, 1, -1, 0, 0, 0, 0, 1, -1}};
  for (std::size_t i = 0; i < count; ++i)
    problem.covariance[i * count + i] = 0.01;
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  ASSERT_EQ(found.findings.size(), 2U);
  EXPECT_EQ(found.findings[0].names, std::vector<std::string>{"d"});
  EXPECT_EQ(found.findings[1].names, std::vector<std::string>{"e"});
  EXPECT_NEAR(found.findings[0].size, 40.0, 1e-9) << "estimated again beside the second";
  EXPECT_NEAR(found.findings[1].size, -35.0, 1e-9);
  for (const ReconciledQuantity& quantity : found.corrected.quantities)
    EXPECT_NEAR(quantity.value.value(), 10.0, 1e-12) << quantity.name;
  EXPECT_TRUE(found.explained);
}

TEST(Reconciliation, BonferroniIsALittleStricterThanSidak) {
  const TestLevels sidak;
  const TestLevels bonferroni{.family = FamilyControl::bonferroni};
  EXPECT_EQ(family_critical_value(sidak, 1), family_critical_value(bonferroni, 1));
  EXPECT_GT(family_critical_value(bonferroni, 20), family_critical_value(sidak, 20));
  // Normal tables: P(|z| > 2.8070) = 0.005.
  EXPECT_NEAR(family_critical_value(bonferroni, 10), 2.8070, 5e-5);
}

TEST(Reconciliation, RefusesWhatIsNoCovariance) {
  BalanceProblem problem = split_flow();
  problem.covariance[0] = 0.0;
  EXPECT_NE(refusal(problem).find("a: has a variance of 0: a variance above 0"), std::string::npos)
      << refusal(problem);
  problem = split_flow();
  problem.covariance[1] = 0.005;
  EXPECT_NE(refusal(problem).find("covariance: differs between b, a and a, b: a symmetric"),
            std::string::npos)
      << refusal(problem);
  problem.covariance[1] = problem.covariance[4] = 0.03;  // a correlation of 1.5
  EXPECT_NE(refusal(problem).find("covariance: is not positive semidefinite"), std::string::npos)
      << refusal(problem);
}

TEST(Reconciliation, RefusesBalancesThatSayNothingNew) {
  BalanceProblem problem = split_flow();
  problem.balances.emplace_back("again");
  for (const double coefficient : {2.0, 0.0, -2.0, -2.0})  // twice the sum of the others
    problem.coefficients.push_back(coefficient);
  EXPECT_NE(refusal(problem).find("follows from the others: leave it out"), std::string::npos)
      << refusal(problem);
  problem = split_flow();
  problem.coefficients[0] = problem.coefficients[1] = 0.0;
  EXPECT_NE(refusal(problem).find("balance pipe: has no quantity"), std::string::npos)
      << refusal(problem);
}

TEST(Reconciliation, RefusesABalanceThatHoldsByTheWayTheValuesWereMade) {
  BalanceProblem problem = split_flow();
  problem.covariance[0] = problem.covariance[1] = problem.covariance[4] = problem.covariance[5] =
      0.01;  // a and b are one sensor
  EXPECT_NE(refusal(problem).find("as free of uncertainty"), std::string::npos) << refusal(problem);
}

TEST(Reconciliation, RefusesNumbersThatAreNone) {
  BalanceProblem problem = split_flow();
  problem.measured[1] = std::nan("");
  EXPECT_NE(refusal(problem).find("b: holds nan: finite numbers"), std::string::npos);
  EXPECT_NE(refusal(split_flow(), {.level = 1.0}).find("level: is 1: between 0 and 1"),
            std::string::npos);
  problem = split_flow();
  problem.covariance.pop_back();
  EXPECT_NE(refusal(problem).find("covariance: 15 numbers: 16"), std::string::npos);
}

}  // namespace
}  // namespace windwright::metrology
