// SPDX-License-Identifier: Apache-2.0
#include "metrology/gross_error.h"

#include "base/errors.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Eigen::Index;
using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

constexpr double alike = 1e-7;  // how near to 1 the correlation of two answers is, to be one
// Of a fault's own answer before others were set free: below it, nothing answers any more.
constexpr double unanswered = 1e-9;

Matrix square(const std::vector<double>& rows, std::size_t count) {
  return Eigen::Map<const RowMajor>(rows.data(), static_cast<Index>(count),
                                    static_cast<Index>(count));
}

Matrix shifts_of(const BalanceProblem& problem, const std::vector<Fault>& faults) {
  const std::size_t count = problem.quantities.size();
  Matrix shifts(static_cast<Index>(count), static_cast<Index>(faults.size()));
  for (std::size_t f = 0; f < faults.size(); ++f) {
    const Fault& fault = faults[f];
    if (fault.shift.size() != count) {
      throw base::BadInput(fault.name, fmt::format("shifts {} quantities", fault.shift.size()),
                           fmt::format("{}", count));
    }
    bool some = false;
    for (std::size_t i = 0; i < count; ++i) {
      const double shift = fault.shift[i];
      if (!std::isfinite(shift) || (shift != 0.0 && !problem.measured[i])) {
        throw base::BadInput(fault.name,
                             fmt::format("shifts {} by {}", problem.quantities[i], shift),
                             "finite shifts of measured quantities");
      }
      some = some || shift != 0.0;
      shifts(static_cast<Index>(i), static_cast<Index>(f)) = shift;
    }
    if (!some) throw base::BadInput(fault.name, "shifts nothing", "a quantity that it shifts");
  }
  return shifts;
}

// How J answers to every fault, of one reconciliation.
struct Answers {
  Vector pull;       // half the slope of J's fall, (faults)
  Matrix curvature;  // faults x faults

  bool answered(Index f, const Vector& scale) const {
    return curvature(f, f) > unanswered * scale[f];
  }
  double test(Index f) const { return std::abs(pull[f]) / std::sqrt(curvature(f, f)); }
  bool same(Index f, Index g) const {
    const double product = std::sqrt(curvature(f, f) * curvature(g, g));
    return std::abs(curvature(f, g)) >= (1.0 - alike) * product;
  }
};

Answers answers_of(const Reconciliation& result, const Matrix& shifts, std::size_t count) {
  const auto size = static_cast<Index>(count);
  const Vector gradient =
      Eigen::Map<const Vector>(result.gradient.data(), static_cast<Index>(result.gradient.size()))
          .head(size);
  const Matrix curvature =
      square(result.curvature, result.gradient.size()).topLeftCorner(size, size);
  return {.pull = shifts.transpose() * gradient,
          .curvature = shifts.transpose() * curvature * shifts};
}

// What a fault would answer if every measured value stood checked by a perfect one.
Vector largest_answers(const BalanceProblem& problem, const Matrix& shifts) {
  const std::size_t count = problem.quantities.size();
  Vector weights = Vector::Zero(shifts.rows());
  for (std::size_t i = 0; i < count; ++i) {
    if (problem.measured[i]) {
      weights[static_cast<Index>(i)] = 1.0 / problem.covariance[i * count + i];
    }
  }
  return shifts.array().square().matrix().transpose() * weights;
}

using Groups = std::vector<std::vector<Index>>;

Groups groups_of(const Answers& answers, const Vector& scale) {
  Groups groups;
  for (Index f = 0; f < answers.pull.size(); ++f) {
    if (!answers.answered(f, scale)) continue;
    const auto found = std::find_if(groups.begin(), groups.end(), [&](const auto& group) {
      return answers.same(group.front(), f);
    });
    if (found == groups.end()) {
      groups.push_back({f});
    } else {
      found->push_back(f);
    }
  }
  return groups;
}

// Each freed fault is an unmeasured quantity: readings are true values plus size times shift.
BalanceProblem with_free_sizes(const BalanceProblem& problem, const Matrix& shifts,
                               const std::vector<Index>& freed) {
  const std::size_t count = problem.quantities.size();
  const std::size_t wider = count + freed.size();
  BalanceProblem more = problem;
  more.covariance.assign(wider * wider, 0.0);
  more.coefficients.assign(problem.balances.size() * wider, 0.0);
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t k = 0; k < count; ++k)
      more.covariance[i * wider + k] = problem.covariance[i * count + k];
  }
  for (std::size_t b = 0; b < problem.balances.size(); ++b) {
    for (std::size_t i = 0; i < count; ++i) {
      const double coefficient = problem.coefficients[b * count + i];
      more.coefficients[b * wider + i] = coefficient;
      for (std::size_t f = 0; f < freed.size(); ++f) {
        more.coefficients[b * wider + count + f] -=
            coefficient * shifts(static_cast<Index>(i), freed[f]);
      }
    }
  }
  for (std::size_t f = 0; f < freed.size(); ++f) {
    more.quantities.push_back(fmt::format("size of fault {}", f + 1));
    more.measured.emplace_back(std::nullopt);
  }
  return more;
}

// From readings with their faults to true values: the sizes go into their quantities and out.
Reconciliation without_sizes(const Reconciliation& wide, const Matrix& shifts,
                             const std::vector<Index>& freed) {
  const Index count = shifts.rows();
  const Index wider = count + static_cast<Index>(freed.size());
  Matrix fold(count, wider);
  fold << Matrix::Identity(count, count), -shifts(Eigen::all, freed);
  const auto width = static_cast<std::size_t>(wider);
  const RowMajor covariance = fold * square(wide.covariance, width) * fold.transpose();
  const RowMajor sensitivity = (fold * square(wide.sensitivity, width)).leftCols(count);
  const RowMajor curvature = square(wide.curvature, width).topLeftCorner(count, count);
  Reconciliation result = wide;
  result.quantities.resize(static_cast<std::size_t>(count));
  result.gradient.resize(static_cast<std::size_t>(count));
  result.covariance.assign(covariance.data(), covariance.data() + covariance.size());
  result.sensitivity.assign(sensitivity.data(), sensitivity.data() + sensitivity.size());
  result.curvature.assign(curvature.data(), curvature.data() + curvature.size());
  for (Index i = 0; i < count; ++i) {
    ReconciledQuantity& quantity = result.quantities[static_cast<std::size_t>(i)];
    for (std::size_t f = 0; f < freed.size(); ++f) {
      const double part = shifts(i, freed[f]) *
                          wide.quantities[static_cast<std::size_t>(count) + f].value.value_or(0.0);
      if (part == 0.0) continue;
      quantity.value = *quantity.value - part;
      quantity.improvement -= part;
    }
    quantity.u = std::sqrt(std::max(covariance(i, i), 0.0));
  }
  return result;
}

struct Best {
  std::size_t group;
  double test;
};

std::optional<Best> largest(const Answers& answers, const Groups& groups) {
  std::optional<Best> best;
  for (std::size_t g = 0; g < groups.size(); ++g) {
    const double test = answers.test(groups[g].front());
    if (!best || test > best->test) best = Best{.group = g, .test = test};
  }
  return best;
}

std::vector<std::string> names_of(const std::vector<Index>& group,
                                  const std::vector<Fault>& faults) {
  std::vector<std::string> names;
  for (const Index f : group)
    names.push_back(faults[static_cast<std::size_t>(f)].name);
  return names;
}

Finding finding_of(const Best& best, const Answers& answers, const Groups& groups,
                   const std::vector<Fault>& faults) {
  // Twice the fall of the log-likelihood at the end of a 95 % interval of one parameter.
  constexpr double near = 3.841458820694124;
  Finding finding{.names = names_of(groups[best.group], faults),
                  .test = best.test,
                  .critical_value = 0.0,
                  .size = 0.0,
                  .u_size = 0.0,
                  .also_possible = {}};
  for (std::size_t g = 0; g < groups.size(); ++g) {
    const double test = answers.test(groups[g].front());
    if (g == best.group || best.test * best.test - test * test > near) continue;
    const auto names = names_of(groups[g], faults);
    finding.also_possible.insert(finding.also_possible.end(), names.begin(), names.end());
  }
  return finding;
}

std::vector<FaultTest> tests_of(const Answers& answers, const Groups& groups,
                                const std::vector<Fault>& faults, double critical_value) {
  constexpr double nine_in_ten = 1.2815515655446004;  // normal quantile of 0.9
  std::vector<FaultTest> tests;
  for (const Fault& fault : faults) {
    tests.push_back({.name = fault.name,
                     .test = std::nullopt,
                     .size = 0.0,
                     .u_size = 0.0,
                     .detectable_size = 0.0,
                     .group = no_group});
  }
  for (std::size_t g = 0; g < groups.size(); ++g) {
    for (const Index f : groups[g]) {
      FaultTest& test = tests[static_cast<std::size_t>(f)];
      const double curvature = answers.curvature(f, f);
      test.test = answers.test(f);
      test.size = answers.pull[f] / curvature;
      test.u_size = 1.0 / std::sqrt(curvature);
      test.detectable_size = (critical_value + nine_in_ten) * test.u_size;
      test.group = g;
    }
  }
  return tests;
}

}  // namespace

std::vector<Fault> faults_of_single_quantities(const BalanceProblem& problem) {
  const std::size_t count = problem.quantities.size();
  std::vector<Fault> faults;
  for (std::size_t i = 0; i < count; ++i) {
    if (!problem.measured[i]) continue;
    Fault fault{.name = problem.quantities[i], .shift = std::vector<double>(count, 0.0)};
    fault.shift[i] = std::sqrt(problem.covariance.at(i * count + i));
    faults.push_back(std::move(fault));
  }
  return faults;
}

GrossErrors find_gross_errors(const BalanceProblem& problem, const std::vector<Fault>& faults,
                              const TestLevels& levels) {
  const std::size_t count = problem.quantities.size();
  GrossErrors result;
  result.plain = reconcile(problem, levels);
  result.corrected = result.plain;
  const Matrix shifts = shifts_of(problem, faults);
  const Vector scale = largest_answers(problem, shifts);
  Answers answers = answers_of(result.plain, shifts, count);
  Groups groups = groups_of(answers, scale);
  for (const auto& group : groups)
    result.groups.push_back(names_of(group, faults));
  const auto critical_of = [&] {
    return family_critical_value(levels, std::max(1, static_cast<int>(groups.size())));
  };
  result.critical_value = critical_of();
  result.tests = tests_of(answers, groups, faults, result.critical_value);

  // Every finding uses up one redundant balance.
  const int dof = result.plain.global ? result.plain.global->dof : 0;
  std::vector<Index> freed;
  while (static_cast<int>(freed.size()) < dof) {
    const auto best = largest(answers, groups);
    const double critical_value = critical_of();
    if (!best || best->test <= critical_value) break;
    result.findings.push_back(finding_of(*best, answers, groups, faults));
    result.findings.back().critical_value = critical_value;
    freed.push_back(groups[best->group].front());
    const Reconciliation wide = reconcile(with_free_sizes(problem, shifts, freed), levels);
    for (std::size_t f = 0; f < freed.size(); ++f) {
      const ReconciledQuantity& size = wide.quantities[count + f];
      result.findings[f].size = size.value.value_or(0.0);
      result.findings[f].u_size = size.u;
    }
    result.corrected = without_sizes(wide, shifts, freed);
    answers = answers_of(result.corrected, shifts, count);
    groups = groups_of(answers, scale);
  }
  result.explained = !result.corrected.global || result.corrected.global->passed;
  return result;
}

}  // namespace windwright::metrology
