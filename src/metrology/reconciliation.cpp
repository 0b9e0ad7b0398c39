// SPDX-License-Identifier: Apache-2.0
#include "metrology/reconciliation.h"

#include "base/errors.h"
#include "metrology/student.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Eigen::Index;
using Matrix = Eigen::MatrixXd;
using Vector = Eigen::VectorXd;
using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

// Of numbers that are scaled to 1: below it, rounding.
constexpr double negligible = 1e-10;

std::size_t at(Index i) {
  return static_cast<std::size_t>(i);
}

Matrix matrix_of(const std::vector<double>& rows, std::size_t count, std::size_t width) {
  return Eigen::Map<const RowMajor>(rows.data(), static_cast<Index>(count),
                                    static_cast<Index>(width));
}

std::vector<double> rows_of(const Matrix& matrix) {
  std::vector<double> rows(at(matrix.size()));
  Eigen::Map<RowMajor>(rows.data(), matrix.rows(), matrix.cols()) = matrix;
  return rows;
}

void require_size(std::size_t size, std::size_t wanted, std::string_view what) {
  if (size == wanted) return;
  throw base::BadInput(what, fmt::format("{} numbers", size), fmt::format("{}", wanted));
}

void require_finite(const std::vector<double>& numbers, std::string_view what) {
  for (const double number : numbers) {
    if (!std::isfinite(number)) {
      throw base::BadInput(what, fmt::format("holds {}", number), "finite numbers");
    }
  }
}

// The problem in numbers that no unit and no scale of a balance can change: measured quantities in
// their own standard uncertainty, balances of length 1, unmeasured columns of length 1.
struct Scaled {
  std::vector<Index> measured;  // their places among the quantities
  std::vector<Index> unmeasured;
  Vector u;            // (measured)
  Matrix correlation;  // measured x measured
  Vector values;       // (measured)
  Matrix known;        // balances x measured
  Matrix unknown;      // balances x unmeasured
  Vector unit;         // (unmeasured)
  Vector constants;    // (balances)
};

void require_correlation(const BalanceProblem& problem, const Scaled& scaled) {
  const Matrix& r = scaled.correlation;
  for (Index i = 0; i < r.rows(); ++i) {
    for (Index k = 0; k < i; ++k) {
      if (std::abs(r(i, k) - r(k, i)) <= 1e-9) continue;
      throw base::BadInput("covariance",
                           fmt::format("differs between {0}, {1} and {1}, {0}",
                                       problem.quantities[at(scaled.measured[at(i)])],
                                       problem.quantities[at(scaled.measured[at(k)])]),
                           "a symmetric matrix");
    }
  }
  if (r.rows() == 0) return;
  const double least = Eigen::LDLT<Matrix>(r).vectorD().minCoeff();
  if (least < -1e-9) {
    throw base::BadInput("covariance",
                         fmt::format("is not positive semidefinite: its correlations, decomposed, "
                                     "leave a variance of {:.3g}",
                                     least),
                         "correlations that can occur together");
  }
}

Scaled scaled_without_balances(const BalanceProblem& problem) {
  const std::size_t count = problem.quantities.size();
  const Matrix covariance = matrix_of(problem.covariance, count, count);
  Scaled scaled;
  for (std::size_t i = 0; i < count; ++i) {
    const auto place = static_cast<Index>(i);
    (problem.measured[i] ? scaled.measured : scaled.unmeasured).push_back(place);
    if (!problem.measured[i]) continue;
    require_finite({*problem.measured[i]}, problem.quantities[i]);
    if (!(covariance(place, place) > 0.0)) {
      throw base::BadInput(problem.quantities[i],
                           fmt::format("has a variance of {}", covariance(place, place)),
                           "a variance above 0; what is exactly known belongs into the constants");
    }
  }
  const Matrix part = covariance(scaled.measured, scaled.measured);
  scaled.u = part.diagonal().cwiseSqrt();
  scaled.correlation =
      scaled.u.cwiseInverse().asDiagonal() * part * scaled.u.cwiseInverse().asDiagonal();
  scaled.values.resize(part.rows());
  for (Index i = 0; i < part.rows(); ++i)
    scaled.values[i] = *problem.measured[at(scaled.measured[at(i)])] / scaled.u[i];
  require_correlation(problem, scaled);
  return scaled;
}

void require_independent(const BalanceProblem& problem, const Scaled& scaled) {
  Matrix all(scaled.known.rows(), scaled.known.cols() + scaled.unknown.cols());
  all << scaled.known, scaled.unknown;
  Eigen::ColPivHouseholderQR<Matrix> qr;
  qr.setThreshold(negligible);
  qr.compute(all.transpose());
  if (qr.rank() == all.rows()) return;
  const Index extra = qr.colsPermutation().indices()[qr.rank()];
  throw base::BadInput(fmt::format("balance {}", problem.balances[at(extra)]),
                       "follows from the others", "leave it out");
}

Scaled scaled_problem(const BalanceProblem& problem) {
  const std::size_t count = problem.quantities.size();
  const std::size_t balances = problem.balances.size();
  require_size(problem.measured.size(), count, "measured");
  require_size(problem.covariance.size(), count * count, "covariance");
  require_size(problem.coefficients.size(), balances * count, "coefficients");
  if (!problem.constants.empty()) require_size(problem.constants.size(), balances, "constants");
  require_finite(problem.covariance, "covariance");
  require_finite(problem.coefficients, "coefficients");
  require_finite(problem.constants, "constants");

  Scaled scaled = scaled_without_balances(problem);
  const Matrix a = matrix_of(problem.coefficients, balances, count);
  scaled.known = a(Eigen::all, scaled.measured) * scaled.u.asDiagonal();
  scaled.unknown = a(Eigen::all, scaled.unmeasured);
  scaled.constants = Vector::Zero(a.rows());
  for (std::size_t k = 0; k < problem.constants.size(); ++k)
    scaled.constants[static_cast<Index>(k)] = problem.constants[k];
  for (Index k = 0; k < a.rows(); ++k) {
    const double known = scaled.known.row(k).norm();
    const double length = known > 0.0 ? known : scaled.unknown.row(k).norm();
    if (!(length > 0.0)) {
      throw base::BadInput(fmt::format("balance {}", problem.balances[at(k)]), "has no quantity",
                           "leave it out");
    }
    scaled.known.row(k) /= length;
    scaled.unknown.row(k) /= length;
    scaled.constants[k] /= length;
  }
  scaled.unit = Vector::Ones(scaled.unknown.cols());
  for (Index j = 0; j < scaled.unknown.cols(); ++j) {
    const double length = scaled.unknown.col(j).norm();
    if (length > 0.0) scaled.unit[j] = 1.0 / length;
  }
  scaled.unknown = scaled.unknown * scaled.unit.asDiagonal();
  require_independent(problem, scaled);
  return scaled;
}

// The balances free of unmeasured quantities, and what follows from them. All in scaled numbers.
struct Solution {
  Matrix redundant;  // G, redundant balances x measured
  Vector residual;   // of these
  Vector gradient;   // G^T S^-1 residual, with S = G correlation G^T
  Matrix curvature;  // G^T S^-1 G
  Matrix kept;       // d reconciled / d measured, measured x measured
  Vector values;     // reconciled, (measured)
  Vector variance;   // of the improvements, (measured)
};

Matrix free_of_unmeasured(const Scaled& scaled) {
  if (scaled.unknown.cols() == 0) {
    return Matrix::Identity(scaled.known.rows(), scaled.known.rows());
  }
  Eigen::ColPivHouseholderQR<Matrix> qr;
  qr.setThreshold(negligible);
  qr.compute(scaled.unknown);
  const Matrix q = qr.householderQ();
  return q.rightCols(q.cols() - qr.rank()).transpose();
}

Solution solve(const Scaled& scaled) {
  const Index size = scaled.u.size();
  const Matrix projection = free_of_unmeasured(scaled);
  Solution solution;
  solution.redundant = projection * scaled.known;
  solution.residual = projection * (scaled.known * scaled.values) - projection * scaled.constants;
  solution.gradient = Vector::Zero(size);
  solution.curvature = Matrix::Zero(size, size);
  solution.kept = Matrix::Identity(size, size);
  solution.values = scaled.values;
  solution.variance = Vector::Zero(size);
  if (solution.redundant.rows() == 0) return solution;
  // A column that the projection has taken out but for rounding is out.
  for (Index i = 0; i < size; ++i) {
    if (solution.redundant.col(i).norm() <= negligible * scaled.known.col(i).norm())
      solution.redundant.col(i).setZero();
  }
  const Matrix& g = solution.redundant;
  const Matrix s = g * scaled.correlation * g.transpose();
  const Eigen::SelfAdjointEigenSolver<Matrix> spread(s, Eigen::EigenvaluesOnly);
  const double least = spread.eigenvalues().minCoeff();
  const double most = spread.eigenvalues().maxCoeff();
  if (!(least > 1e-12 * most)) {
    throw base::BadInput("covariance", "takes a combination of the balances as free of uncertainty",
                         "balances of which none holds by the way the values were made");
  }
  const Eigen::LLT<Matrix> factor(s);
  solution.gradient = g.transpose() * factor.solve(solution.residual);
  solution.curvature = g.transpose() * factor.solve(g);
  const Matrix reach = g * scaled.correlation;
  solution.kept -= reach.transpose() * factor.solve(g);
  solution.variance = factor.matrixL().solve(reach).colwise().squaredNorm();
  solution.values -= scaled.correlation * solution.gradient;
  return solution;
}

// What the balances say about the unmeasured quantities, in their own units.
struct Unmeasured {
  Vector values;
  Matrix sensitivity;  // unmeasured x measured, scaled measured
  std::vector<bool> observable;
};

Unmeasured unmeasured_of(const Scaled& scaled, const Solution& solution) {
  const Index count = scaled.unknown.cols();
  Unmeasured result{.values = Vector::Zero(count),
                    .sensitivity = Matrix::Zero(count, scaled.u.size()),
                    .observable = std::vector<bool>(at(count), false)};
  if (count == 0) return result;
  Eigen::CompleteOrthogonalDecomposition<Matrix> decomposition;
  decomposition.setThreshold(negligible);
  decomposition.compute(scaled.unknown);
  const Matrix inverse = decomposition.pseudoInverse();
  const Matrix seen = inverse * scaled.unknown;  // projects on what the balances determine
  result.values =
      scaled.unit.asDiagonal() * (inverse * (scaled.constants - scaled.known * solution.values));
  result.sensitivity = -(scaled.unit.asDiagonal() * (inverse * (scaled.known * solution.kept)));
  for (Index j = 0; j < count; ++j)
    result.observable[at(j)] = seen(j, j) > 1.0 - 1e-8;
  return result;
}

void fill_measured(const Scaled& scaled, const Solution& solution, Reconciliation& result) {
  const Vector improvement = solution.values - scaled.values;
  for (Index i = 0; i < scaled.u.size(); ++i) {
    ReconciledQuantity& quantity = result.quantities[at(scaled.measured[at(i)])];
    const double u = scaled.u[i];
    const bool redundant = solution.redundant.col(i).norm() > 0.0;
    quantity.standing = redundant ? Standing::redundant : Standing::not_redundant;
    quantity.value = u * solution.values[i];
    quantity.improvement = u * improvement[i];
    const double u_improvement = std::sqrt(solution.variance[i]);
    quantity.u_improvement = u * u_improvement;
    if (!redundant) continue;
    if (u_improvement > 0.0) quantity.test = std::abs(improvement[i]) / u_improvement;
    quantity.max_power_test = std::abs(solution.gradient[i]) / std::sqrt(solution.curvature(i, i));
  }
}

// Sensitivities, covariance and J's answer in the problem's own units and order.
void fill_matrices(const Scaled& scaled, const Solution& solution, const Unmeasured& unmeasured,
                   Reconciliation& result) {
  const auto count = static_cast<Index>(result.quantities.size());
  const Vector per_u = scaled.u.cwiseInverse();
  Matrix sensitivity = Matrix::Zero(count, count);
  Matrix of_scaled = Matrix::Zero(count, scaled.u.size());
  of_scaled(scaled.measured, Eigen::all) = scaled.u.asDiagonal() * solution.kept;
  for (std::size_t j = 0; j < scaled.unmeasured.size(); ++j) {
    if (!unmeasured.observable[j]) continue;
    of_scaled.row(scaled.unmeasured[j]) = unmeasured.sensitivity.row(static_cast<Index>(j));
  }
  sensitivity(Eigen::all, scaled.measured) = of_scaled * per_u.asDiagonal();
  const Matrix covariance = of_scaled * scaled.correlation * of_scaled.transpose();
  result.covariance = rows_of(covariance);
  result.sensitivity = rows_of(sensitivity);
  for (Index i = 0; i < count; ++i)
    result.quantities[at(i)].u = std::sqrt(std::max(covariance(i, i), 0.0));
  Vector gradient = Vector::Zero(count);
  Matrix curvature = Matrix::Zero(count, count);
  gradient(scaled.measured) = per_u.cwiseProduct(solution.gradient);
  curvature(scaled.measured, scaled.measured) =
      per_u.asDiagonal() * solution.curvature * per_u.asDiagonal();
  result.gradient.assign(gradient.data(), gradient.data() + count);
  result.curvature = rows_of(curvature);
}

std::vector<ReconciledBalance> balances_of(const BalanceProblem& problem, const Scaled& scaled) {
  const std::size_t count = problem.quantities.size();
  const Matrix a = matrix_of(problem.coefficients, problem.balances.size(), count);
  const Matrix known = a(Eigen::all, scaled.measured) * scaled.u.asDiagonal();
  std::vector<ReconciledBalance> balances;
  for (Index k = 0; k < a.rows(); ++k) {
    ReconciledBalance balance{.name = problem.balances[at(k)],
                              .residual = std::nullopt,
                              .u_residual = std::nullopt,
                              .nodal_test = std::nullopt};
    if (scaled.unknown.row(k).isZero(0.0)) {
      const double constant = problem.constants.empty() ? 0.0 : problem.constants[at(k)];
      const double variance = (known.row(k) * scaled.correlation).dot(known.row(k));
      balance.residual = known.row(k).dot(scaled.values) - constant;
      balance.u_residual = std::sqrt(std::max(variance, 0.0));
      if (*balance.u_residual > 0.0) {
        balance.nodal_test = std::abs(*balance.residual) / *balance.u_residual;
      }
    }
    balances.push_back(std::move(balance));
  }
  return balances;
}

void require_level(double level) {
  if (level > 0.0 && level < 1.0) return;
  throw base::BadInput("level", fmt::format("is {}", level), "between 0 and 1");
}

CriticalValues critical_values(const Reconciliation& result, const TestLevels& levels) {
  const auto redundant = std::count_if(
      result.quantities.begin(), result.quantities.end(),
      [](const ReconciledQuantity& quantity) { return quantity.standing == Standing::redundant; });
  const auto nodal = std::count_if(
      result.balances.begin(), result.balances.end(),
      [](const ReconciledBalance& balance) { return balance.nodal_test.has_value(); });
  return {.single = student_factor(levels.level, std::numeric_limits<double>::infinity()),
          .measurements = family_critical_value(levels, std::max(1, static_cast<int>(redundant))),
          .balances = family_critical_value(levels, std::max(1, static_cast<int>(nodal)))};
}

}  // namespace

double family_critical_value(const TestLevels& levels, int tests) {
  require_level(levels.family_level);
  if (tests < 1) throw base::BadInput("tests", fmt::format("are {}", tests), "1 or more");
  const double each = levels.family == FamilyControl::sidak
                          ? std::pow(levels.family_level, 1.0 / tests)
                          : 1.0 - (1.0 - levels.family_level) / tests;
  return student_factor(each, std::numeric_limits<double>::infinity());
}

Reconciliation reconcile(const BalanceProblem& problem, const TestLevels& levels) {
  require_level(levels.level);
  const Scaled scaled = scaled_problem(problem);
  const Solution solution = solve(scaled);
  const Unmeasured unmeasured = unmeasured_of(scaled, solution);
  Reconciliation result;
  for (const std::string& name : problem.quantities) {
    result.quantities.push_back({.name = name,
                                 .standing = Standing::unobservable,
                                 .value = std::nullopt,
                                 .u = 0.0,
                                 .improvement = 0.0,
                                 .u_improvement = 0.0,
                                 .test = std::nullopt,
                                 .max_power_test = std::nullopt});
  }
  fill_measured(scaled, solution, result);
  for (std::size_t j = 0; j < scaled.unmeasured.size(); ++j) {
    if (!unmeasured.observable[j]) continue;
    ReconciledQuantity& quantity = result.quantities[at(scaled.unmeasured[j])];
    quantity.standing = Standing::observable;
    quantity.value = unmeasured.values[static_cast<Index>(j)];
  }
  fill_matrices(scaled, solution, unmeasured, result);
  result.balances = balances_of(problem, scaled);
  result.critical = critical_values(result, levels);
  const auto dof = static_cast<int>(solution.redundant.rows());
  if (dof > 0) {
    // J = r S^-1 r; the improvements -R d have J = d R d in the metric of R.
    const double statistic = solution.gradient.dot(scaled.correlation * solution.gradient);
    const double critical_value = chi_squared_quantile(levels.level, dof);
    result.global = {.statistic = statistic,
                     .dof = dof,
                     .critical_value = critical_value,
                     .passed = statistic <= critical_value};
  }
  return result;
}

}  // namespace windwright::metrology
