// SPDX-License-Identifier: Apache-2.0
#include "metrology/agreement.h"

#include "base/errors.h"
#include "metrology/estimate.h"
#include "metrology/student.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

double over(double difference, double uncertainty) {
  if (difference == 0.0) return 0.0;
  return uncertainty > 0.0 ? difference / uncertainty : std::numeric_limits<double>::quiet_NaN();
}

// Covariances over the product of the standard uncertainties, so that scale does not matter.
Eigen::MatrixXd correlation_of(std::span<const Estimate> results, const Eigen::VectorXd& u) {
  const auto n = static_cast<Eigen::Index>(results.size());
  Eigen::MatrixXd matrix = Eigen::MatrixXd::Identity(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index k = 0; k < i; ++k) {
      const double coefficient =
          covariance(results[static_cast<std::size_t>(i)], results[static_cast<std::size_t>(k)]) /
          (u[i] * u[k]);
      matrix(i, k) = coefficient;
      matrix(k, i) = coefficient;
    }
  }
  return matrix;
}

}  // namespace

Agreement agreement(const Estimate& a, const Estimate& b, double level) {
  Agreement result{.difference = a - b, .expanded = 0.0, .en = 0.0, .zeta = 0.0};
  result.expanded = result.difference.expanded(level);
  result.en = over(result.difference.value(), result.expanded);
  result.zeta = over(result.difference.value(), result.difference.u());
  return result;
}

WeightedMean weighted_mean(std::span<const Estimate> results) {
  constexpr double smallest_independent = 1e-12;  // least eigenvalue of the correlation matrix
  if (results.size() < 2) {
    throw base::BadInput("weighted mean", fmt::format("has {} results", results.size()),
                         "two or more");
  }
  const auto n = static_cast<Eigen::Index>(results.size());
  Eigen::VectorXd u(n);
  for (Eigen::Index i = 0; i < n; ++i) {
    u[i] = results[static_cast<std::size_t>(i)].u();
    if (!(u[i] > 0.0) || !std::isfinite(u[i])) {
      throw base::BadInput("weighted mean", fmt::format("result {} has no uncertainty", i + 1),
                           "a standard uncertainty above 0 for every result");
    }
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(correlation_of(results, u));
  if (eigen.eigenvalues()[0] < smallest_independent) {
    throw base::BadInput("weighted mean",
                         "the results are so correlated that nothing is left between them",
                         "results with a random part of their own");
  }
  const Eigen::VectorXd inverse_u = u.cwiseInverse();
  const Eigen::MatrixXd inverse_covariance =
      inverse_u.asDiagonal() *
      (eigen.eigenvectors() * eigen.eigenvalues().cwiseInverse().asDiagonal() *
       eigen.eigenvectors().transpose()) *
      inverse_u.asDiagonal();
  const Eigen::VectorXd rows = inverse_covariance * Eigen::VectorXd::Ones(n);
  const Eigen::VectorXd weights = rows / rows.sum();

  Estimate sum;
  for (Eigen::Index i = 0; i < n; ++i)
    sum = sum + weights[i] * results[static_cast<std::size_t>(i)];
  Eigen::VectorXd rest(n);
  for (Eigen::Index i = 0; i < n; ++i)
    rest[i] = results[static_cast<std::size_t>(i)].value() - sum.value();
  WeightedMean mean{.mean = sum,
                    .weights = {weights.begin(), weights.end()},
                    .chi_squared = rest.dot(inverse_covariance * rest),
                    .degrees_of_freedom = static_cast<double>(n - 1),
                    .chance = 0.0,
                    .birge_ratio = 0.0,
                    .consistent = false};
  mean.chance = chi_squared_tail(mean.chi_squared, mean.degrees_of_freedom);
  mean.birge_ratio = std::sqrt(mean.chi_squared / mean.degrees_of_freedom);
  mean.consistent = mean.chance >= 0.05;
  return mean;
}

}  // namespace windwright::metrology
