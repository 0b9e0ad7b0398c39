// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/gross_error.h"
#include "metrology/reconciliation.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

// A random network: dense balances of random sign, correlated values of mixed size, some of them
// unmeasured.
BalanceProblem a_problem(std::size_t unmeasured) {
  const base::RandomStream random(*rc::gen::arbitrary<std::uint64_t>(), "problem");
  std::uint64_t draw = 0;
  const auto normal = [&] { return random.normal(draw++); };
  const std::size_t count = 8;
  const std::size_t balances = 4;
  BalanceProblem problem;
  std::vector<double> root(count * count);
  for (double& each : root)
    each = normal();
  for (std::size_t i = 0; i < count; ++i) {
    problem.quantities.push_back("q" + std::to_string(i));
    problem.measured.emplace_back(100.0 * normal());
    root[i * count + i] += 3.0;
  }
  problem.covariance.assign(count * count, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t k = 0; k < count; ++k) {
      for (std::size_t j = 0; j < count; ++j)
        problem.covariance[i * count + k] += root[i * count + j] * root[k * count + j];
    }
  }
  for (std::size_t b = 0; b < balances; ++b) {
    problem.balances.push_back("b" + std::to_string(b));
    problem.constants.push_back(10.0 * normal());
    for (std::size_t i = 0; i < count; ++i)
      problem.coefficients.push_back(normal());
  }
  for (std::size_t i = 0; i < unmeasured; ++i)
    problem.measured[3 * i] = std::nullopt;
  return problem;
}

bool close(double a, double b, double scale) {
  return std::abs(a - b) <= 1e-9 * scale;
}

RC_GTEST_PROP(Reconciliation, ValuesObeyTheBalancesToRounding, ()) {
  const BalanceProblem problem = a_problem(*rc::gen::inRange<std::size_t>(0, 3));
  const Reconciliation result = reconcile(problem);
  const std::size_t count = problem.quantities.size();
  for (std::size_t b = 0; b < problem.balances.size(); ++b) {
    double sum = -problem.constants[b];
    double size = std::abs(problem.constants[b]);
    for (std::size_t i = 0; i < count; ++i) {
      const double term = problem.coefficients[b * count + i] * result.quantities[i].value.value();
      sum += term;
      size += std::abs(term);
    }
    // A random 4 x 8 network loses a few digits to its condition.
    RC_ASSERT(std::abs(sum) <= 1e-11 * size);
  }
}

RC_GTEST_PROP(Reconciliation, VariancesNeverGrow, ()) {
  const BalanceProblem problem = a_problem(*rc::gen::inRange<std::size_t>(0, 3));
  const Reconciliation result = reconcile(problem);
  const std::size_t count = problem.quantities.size();
  for (std::size_t i = 0; i < count; ++i) {
    if (!problem.measured[i]) continue;
    const double before = problem.covariance[i * count + i];
    RC_ASSERT(result.covariance[i * count + i] <= before * (1.0 + 1e-12));
    // What is gained is the variance of the improvement: VDI 2048.
    const double gained = result.quantities[i].u_improvement * result.quantities[i].u_improvement;
    RC_ASSERT(close(result.covariance[i * count + i] + gained, before, before));
  }
}

RC_GTEST_PROP(Reconciliation, ScaleOfBalancesAndUnitsDoesNotMatter, ()) {
  const BalanceProblem problem = a_problem(*rc::gen::inRange<std::size_t>(0, 3));
  const std::size_t count = problem.quantities.size();
  BalanceProblem scaled = problem;
  std::vector<double> unit(count);
  for (std::size_t i = 0; i < count; ++i) {
    unit[i] = std::pow(10.0, *rc::gen::inRange(-6, 7));
    if (scaled.measured[i]) *scaled.measured[i] *= unit[i];
  }
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t k = 0; k < count; ++k)
      scaled.covariance[i * count + k] *= unit[i] * unit[k];
  }
  for (std::size_t b = 0; b < problem.balances.size(); ++b) {
    const double factor = -std::pow(10.0, *rc::gen::inRange(-6, 7));
    scaled.constants[b] *= factor;
    for (std::size_t i = 0; i < count; ++i)
      scaled.coefficients[b * count + i] *= factor / unit[i];
  }
  const Reconciliation plain = reconcile(problem);
  const Reconciliation result = reconcile(scaled);
  RC_ASSERT(close(result.global->statistic, plain.global->statistic, plain.global->statistic));
  for (std::size_t i = 0; i < count; ++i) {
    const ReconciledQuantity& one = plain.quantities[i];
    const ReconciledQuantity& other = result.quantities[i];
    RC_ASSERT(one.standing == other.standing);
    RC_ASSERT(close(other.value.value() / unit[i], one.value.value(), 1e3));
    RC_ASSERT(close(other.u / unit[i], one.u, one.u));
    if (one.test) RC_ASSERT(close(*other.test, *one.test, 1.0 + *one.test));
    if (one.max_power_test) {
      RC_ASSERT(close(*other.max_power_test, *one.max_power_test, 1.0 + *one.max_power_test));
    }
  }
}

RC_GTEST_PROP(Reconciliation, ReconcilingAgainChangesNothing, ()) {
  BalanceProblem problem = a_problem(0);
  const Reconciliation once = reconcile(problem);
  for (std::size_t i = 0; i < problem.quantities.size(); ++i)
    problem.measured[i] = once.quantities[i].value;
  const Reconciliation twice = reconcile(problem);
  for (std::size_t i = 0; i < problem.quantities.size(); ++i)
    RC_ASSERT(close(twice.quantities[i].improvement, 0.0, 1e3));
}

// Setting a measurement's size free is the same as not having measured it.
RC_GTEST_PROP(GrossError, AFoundSensorIsEliminated, ()) {
  BalanceProblem problem = a_problem(0);
  const std::size_t count = problem.quantities.size();
  const Reconciliation good = reconcile(problem);
  for (std::size_t i = 0; i < count; ++i) {
    problem.measured[i] = good.quantities[i].value;
    for (std::size_t k = 0; k < count; ++k) {
      if (k != i) problem.covariance[i * count + k] = 0.0;
    }
  }
  const auto biased = *rc::gen::inRange<std::size_t>(0, count);
  *problem.measured[biased] += 1000.0 * std::sqrt(problem.covariance[biased * count + biased]);
  const GrossErrors found = find_gross_errors(problem, faults_of_single_quantities(problem));
  RC_PRE(!found.findings.empty() && found.findings[0].names.size() == 1);
  RC_PRE(found.findings.size() == 1);
  BalanceProblem without = problem;
  const auto named =
      std::find(problem.quantities.begin(), problem.quantities.end(), found.findings[0].names[0]);
  without.measured[static_cast<std::size_t>(named - problem.quantities.begin())] = std::nullopt;
  const Reconciliation eliminated = reconcile(without);
  RC_ASSERT(close(found.corrected.global->statistic, eliminated.global->statistic,
                  1.0 + eliminated.global->statistic));
  for (std::size_t i = 0; i < count; ++i) {
    RC_ASSERT(std::abs(found.corrected.quantities[i].value.value() -
                       eliminated.quantities[i].value.value()) <=
              1e-7 * (1.0 + std::abs(eliminated.quantities[i].value.value())));
    RC_ASSERT(std::abs(found.corrected.quantities[i].u - eliminated.quantities[i].u) <=
              1e-7 * eliminated.quantities[i].u);
  }
}

}  // namespace
}  // namespace windwright::metrology
