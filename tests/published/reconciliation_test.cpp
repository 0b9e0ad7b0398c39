// SPDX-License-Identifier: Apache-2.0
#include "metrology/reconciliation.h"

#include "base/json.h"
#include "metrology/gross_error.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

// Sources, and what each figure is, stand in the data files.
namespace windwright::metrology {
namespace {

namespace json = boost::json;

json::value reference(const std::string& name) {
  return base::json_from_file(SOURCE_FOLDER "/tests/published/data/recon_" + name + ".json");
}

std::vector<double> numbers(const json::value& array) {
  std::vector<double> values;
  for (const json::value& each : array.as_array())
    values.push_back(each.to_number<double>());
  return values;
}

// Half a unit of the last of so many printed digits.
double printed(double value, int digits) {
  if (value == 0.0) return 1e-9;
  return 0.5001 * std::pow(10.0, std::floor(std::log10(std::abs(value))) + 1.0 - digits);
}

BalanceProblem problem_of(const json::value& inputs, const std::string& values,
                          const std::vector<double>& variances) {
  BalanceProblem problem;
  const std::vector<double> x = numbers(inputs.at(values));
  for (std::size_t i = 0; i < x.size(); ++i) {
    problem.quantities.push_back("x" + std::to_string(i + 1));
    problem.measured.emplace_back(x[i]);
  }
  problem.covariance.assign(x.size() * x.size(), 0.0);
  for (std::size_t i = 0; i < x.size(); ++i)
    problem.covariance[i * x.size() + i] = variances[i];
  for (const json::value& row : inputs.at("A").as_array()) {
    problem.balances.push_back("balance " + std::to_string(problem.balances.size() + 1));
    for (const double coefficient : numbers(row))
      problem.coefficients.push_back(coefficient);
  }
  return problem;
}

BalanceProblem steam_turbine(bool correlated) {
  const json::value inputs = reference("vdi2048_steam_turbine").at("inputs");
  const double factor = inputs.at("coverage_factor").to_number<double>();
  std::vector<double> variances = numbers(inputs.at("half_width_95"));
  for (double& each : variances)
    each = each / factor * (each / factor);
  BalanceProblem problem = problem_of(inputs, "x", variances);
  const json::array& names = inputs.at("names").as_array();
  const std::size_t count = names.size();
  for (std::size_t i = 0; i < count; ++i)
    problem.quantities[i] = names[i].as_string();
  for (const json::value& pair : inputs.at("correlations").as_array()) {
    if (!correlated) break;
    const auto place = [&](std::size_t which) {
      return static_cast<std::size_t>(std::find(names.begin(), names.end(), pair.at(which)) -
                                      names.begin());
    };
    const std::size_t i = place(0);
    const std::size_t k = place(1);
    const double covariance =
        pair.at(2).to_number<double>() * std::sqrt(variances[i] * variances[k]);
    problem.covariance[i * count + k] = covariance;
    problem.covariance[k * count + i] = covariance;
  }
  return problem;
}

// To the printed digits: 9 of reconciled values, 8 of u and J, 6 of the tests.
void expect_crosscheck(const Reconciliation& result, const json::value& crosscheck) {
  const auto reconciled = numbers(crosscheck.at("reconciled"));
  const auto u = numbers(crosscheck.at("u_reconciled"));
  const auto tests = numbers(crosscheck.at("measurement_test_z"));
  for (std::size_t i = 0; i < reconciled.size(); ++i) {
    const ReconciledQuantity& quantity = result.quantities[i];
    EXPECT_NEAR(quantity.value.value(), reconciled[i], printed(reconciled[i], 9)) << quantity.name;
    EXPECT_NEAR(quantity.u, u[i], printed(u[i], 8)) << quantity.name;
    EXPECT_NEAR(quantity.test.value_or(0.0), tests[i], printed(tests[i], 6)) << quantity.name;
    const json::value& power = crosscheck.at("max_power_measurement_test").at(i);
    ASSERT_EQ(quantity.max_power_test.has_value(), !power.is_null()) << quantity.name;
    if (quantity.max_power_test) {
      EXPECT_NEAR(*quantity.max_power_test, power.to_number<double>(),
                  printed(power.to_number<double>(), 6));
    }
  }
  const auto residuals = numbers(crosscheck.at("residuals"));
  const auto nodal = numbers(crosscheck.at("nodal_test_z"));
  for (std::size_t k = 0; k < residuals.size(); ++k) {
    EXPECT_NEAR(result.balances[k].residual.value(), residuals[k], 1e-12);
    EXPECT_NEAR(result.balances[k].nodal_test.value(), nodal[k], printed(nodal[k], 6));
  }
  const double statistic = crosscheck.at("objective_J").to_number<double>();
  ASSERT_TRUE(result.global.has_value());
  EXPECT_NEAR(result.global->statistic, statistic, printed(statistic, 8));
  EXPECT_EQ(result.global->dof, crosscheck.at("dof").to_number<int>());
  const double critical_value = crosscheck.at("chi2_95").to_number<double>();
  EXPECT_NEAR(result.global->critical_value, critical_value, printed(critical_value, 7));
}

TEST(PublishedReconciliation, HeatExchangerWithBypass) {
  const json::value example = reference("narasimhan_jordache_heat_exchanger");
  const json::value& inputs = example.at("inputs");
  const auto variances = numbers(inputs.at("variances"));
  const Reconciliation good = reconcile(problem_of(inputs, "x", variances));
  expect_crosscheck(good, example.at("crosscheck").at("no_bias"));
  EXPECT_TRUE(good.global->passed);
  const auto expected = numbers(example.at("expected").at("reconciled"));
  for (std::size_t i = 0; i < expected.size(); ++i)
    EXPECT_NEAR(good.quantities[i].value.value(), expected[i], 0.005) << "printed digits";
}

TEST(PublishedReconciliation, HeatExchangerWithABiasOfFourOnItsSecondFlow) {
  const json::value example = reference("narasimhan_jordache_heat_exchanger");
  const json::value& inputs = example.at("inputs");
  const auto problem = problem_of(inputs, "x_with_bias", numbers(inputs.at("variances")));
  const Reconciliation biased = reconcile(problem);
  expect_crosscheck(biased, example.at("crosscheck").at("bias_on_flow_2"));
  const json::value& expected = example.at("expected");
  EXPECT_NEAR(biased.global->statistic, expected.at("biased_global_statistic").to_number<double>(),
              5e-4);
  EXPECT_NEAR(biased.global->critical_value, expected.at("chi2_95_4dof").to_number<double>(), 5e-4);
  EXPECT_FALSE(biased.global->passed);
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  ASSERT_EQ(found.findings.size(), 1U);
  EXPECT_EQ(found.findings[0].names, std::vector<std::string>{"x2"});
  EXPECT_TRUE(found.explained);
  // The bias was 4: with it free the estimate must cover it.
  EXPECT_NEAR(found.findings[0].size, 4.0, 2.0 * found.findings[0].u_size);
}

TEST(PublishedReconciliation, ThreeUnits) {
  const json::value example = reference("dovi_solisio_three_units");
  const json::value& inputs = example.at("inputs");
  const Reconciliation result = reconcile(problem_of(inputs, "x", numbers(inputs.at("variances"))));
  expect_crosscheck(result, example.at("crosscheck"));
  EXPECT_TRUE(result.global->passed);
}

TEST(PublishedReconciliation, SteamTurbineWithCorrelatedFlows) {
  const json::value example = reference("vdi2048_steam_turbine");
  const Reconciliation result = reconcile(steam_turbine(true));
  expect_crosscheck(result, example.at("crosscheck"));
  EXPECT_FALSE(result.global->passed);
  EXPECT_NEAR(result.critical.single, 1.96, 0.0005) << "VDI 2048's factor of single tests";
  const auto half_widths = numbers(example.at("crosscheck").at("half_width_95_reconciled"));
  for (std::size_t i = 0; i < half_widths.size(); ++i)
    EXPECT_NEAR(1.96 * result.quantities[i].u, half_widths[i], printed(half_widths[i], 7));
  EXPECT_EQ(result.quantities.back().name, "mD");
  EXPECT_EQ(result.quantities.back().standing, Standing::not_redundant);
  EXPECT_EQ(result.quantities.back().value, 2.092);
}

TEST(PublishedReconciliation, SteamTurbineWithoutCorrelation) {
  const json::value example = reference("vdi2048_steam_turbine");
  const double statistic = example.at("crosscheck_without_correlation_J").to_number<double>();
  EXPECT_NEAR(reconcile(steam_turbine(false)).global->statistic, statistic, printed(statistic, 8));
}

// Both feed-water flows enter one balance with one coefficient, as do both steam flows: no set of
// values can tell which of a pair is wrong.
TEST(PublishedReconciliation, SteamTurbineFlowsThatCannotBeToldApartAreNamedTogether) {
  const BalanceProblem problem = steam_turbine(true);
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  ASSERT_FALSE(found.findings.empty());
  const auto& names = found.findings[0].names;
  EXPECT_NE(std::find(names.begin(), names.end(), "mFDKEL"), names.end());
  EXPECT_NE(std::find(names.begin(), names.end(), "mFDKELL"), names.end());
  EXPECT_TRUE(found.explained);
}

}  // namespace
}  // namespace windwright::metrology
