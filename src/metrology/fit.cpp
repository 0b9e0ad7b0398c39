// SPDX-License-Identifier: Apache-2.0
#include "metrology/fit.h"

#include "base/errors.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace {

// Extended where the machine has it: powers of the references are nearly parallel.
using Real = long double;
using Matrix = Eigen::Matrix<Real, Eigen::Dynamic, Eigen::Dynamic>;
using Vector = Eigen::Matrix<Real, Eigen::Dynamic, 1>;
using Eigen::Index;

// References mapped to [-1, 1].
struct Interval {
  Real middle;
  Real half;

  explicit Interval(std::span<const double> references) {
    const auto [low, high] = std::minmax_element(references.begin(), references.end());
    middle = (Real(*low) + Real(*high)) / 2;
    half = (Real(*high) - Real(*low)) / 2;
  }
  Real inside(Real x) const { return (x - middle) / half; }
};

// Rows: references; columns: Chebyshev polynomials T_0..T_degree.
Matrix chebyshev(const Interval& interval, const Vector& references, int degree) {
  Matrix basis(references.size(), degree + 1);
  for (Index i = 0; i < references.size(); ++i) {
    const Real t = interval.inside(references[i]);
    basis(i, 0) = 1;
    if (degree > 0) basis(i, 1) = t;
    for (Index k = 2; k <= degree; ++k)
      basis(i, k) = 2 * t * basis(i, k - 1) - basis(i, k - 2);
  }
  return basis;
}

// Powers (rows, rising) of each Chebyshev polynomial (columns) of the mapped reference.
Matrix powers_of_chebyshev(const Interval& interval, int degree) {
  Matrix powers = Matrix::Zero(degree + 1, degree + 1);
  powers(0, 0) = 1;
  const Real slope = 1 / interval.half;
  const Real offset = -interval.middle / interval.half;
  if (degree > 0) {
    powers(0, 1) = offset;
    powers(1, 1) = slope;
  }
  for (Index k = 2; k <= degree; ++k) {
    for (Index j = 0; j <= k; ++j) {
      powers(j, k) = 2 * offset * powers(j, k - 1) - powers(j, k - 2);
      if (j > 0) powers(j, k) += 2 * slope * powers(j - 1, k - 1);
    }
  }
  return powers;
}

struct Solution {
  Vector coefficients;  // rising powers
  Matrix covariance;    // with unit weights for the standard deviation given
};

// Minimises the sum of ((y - f(x)) / u)^2.
Solution solve(const Interval& interval, const Vector& x, const Vector& y, const Vector& u,
               int degree) {
  const Vector weights = u.cwiseInverse();
  const Matrix system = weights.asDiagonal() * chebyshev(interval, x, degree);
  const Eigen::HouseholderQR<Matrix> qr(system);
  const Vector target = weights.cwiseProduct(y);
  const Matrix triangle = qr.matrixQR().topRows(degree + 1).template triangularView<Eigen::Upper>();
  const Vector projected = (qr.householderQ().adjoint() * target).head(degree + 1);
  const Vector solution = triangle.template triangularView<Eigen::Upper>().solve(projected);
  const Matrix inverse = triangle.template triangularView<Eigen::Upper>().solve(
      Matrix::Identity(degree + 1, degree + 1));
  const Matrix powers = powers_of_chebyshev(interval, degree);
  const Matrix root = powers * inverse;
  return {powers * solution, root * root.transpose()};
}

Real value(const Vector& coefficients, Real x) {
  Real sum = 0;
  for (Index k = coefficients.size() - 1; k >= 0; --k)
    sum = sum * x + coefficients[k];
  return sum;
}

Real slope(const Vector& coefficients, Real x) {
  Real sum = 0;
  for (Index k = coefficients.size() - 1; k >= 1; --k)
    sum = sum * x + Real(k) * coefficients[k];
  return sum;
}

Vector column(const std::vector<double>& values, Index size) {
  Vector result = Vector::Zero(size);
  for (Index i = 0; i < size && !values.empty(); ++i) {
    result[i] = values[static_cast<std::size_t>(i)];
  }
  return result;
}

void require_column(const std::vector<double>& values, std::size_t size, std::string_view name,
                    bool above_zero, std::string_view where) {
  if (values.size() != size) {
    throw base::BadInput(where, fmt::format("{} has {} values", name, values.size()),
                         fmt::format("{}, one a reading", size));
  }
  for (const double entry : values) {
    if (std::isfinite(entry) && (!above_zero || entry > 0.0)) continue;
    throw base::BadInput(where, fmt::format("{} holds {}", name, entry),
                         above_zero ? "finite values above 0" : "finite values");
  }
}

void require_readings(const Readings& readings, int degree, std::string_view where) {
  if (degree < 0 || degree > 12) {
    throw base::BadInput(where, fmt::format("polynomial of degree {}", degree), "0 to 12");
  }
  const std::size_t n = readings.reference.size();
  require_column(readings.reference, n, "reference", false, where);
  require_column(readings.reading, n, "reading", false, where);
  if (!readings.u_reference.empty()) {
    require_column(readings.u_reference, n, "u_reference", true, where);
  }
  if (!readings.u_reading.empty()) {
    require_column(readings.u_reading, n, "u_reading", true, where);
  }
  const auto coefficients = static_cast<std::size_t>(degree) + 1;
  if (n < coefficients + 1) {
    throw base::BadInput(where, fmt::format("{} readings for {} coefficients", n, coefficients),
                         fmt::format("at least {} readings", coefficients + 1));
  }
  const std::set<double> distinct(readings.reference.begin(), readings.reference.end());
  if (distinct.size() < std::max<std::size_t>(2, coefficients)) {
    throw base::BadInput(
        where,
        fmt::format("{} distinct references for {} coefficients", distinct.size(), coefficients),
        fmt::format("at least {} distinct references", std::max<std::size_t>(2, coefficients)));
  }
}

// Alternates between the weighted fit at the adjusted references and the adjustment of the
// references; at rest both are those of the least chi-squared.
struct Adjusted {
  Solution solution;
  Vector residuals;  // of the readings, at the stated references, along the tangent
  Vector u;          // of these residuals
};
Adjusted fit_both(const Interval& interval, const Readings& readings, int degree,
                  std::string_view where) {
  const auto n = static_cast<Index>(readings.reference.size());
  const Vector x = column(readings.reference, n);
  const Vector y = column(readings.reading, n);
  const Vector u_x = column(readings.u_reference, n);
  const Vector u_y = column(readings.u_reading, n);
  Vector adjusted = x;
  Adjusted result{solve(interval, x, y, Vector::Ones(n), degree), Vector(n), Vector(n)};
  constexpr int most_rounds = 200;
  for (int round = 0; round < most_rounds; ++round) {
    Vector target(n);
    Vector slopes(n);
    for (Index i = 0; i < n; ++i) {
      slopes[i] = slope(result.solution.coefficients, adjusted[i]);
      result.u[i] = std::hypot(u_y[i], slopes[i] * u_x[i]);
      target[i] = y[i] - slopes[i] * (x[i] - adjusted[i]);
    }
    if (!(result.u.minCoeff() > 0)) {
      throw base::BadInput(where, "the curve is level and the readings have no uncertainty",
                           "a column u_reading");
    }
    result.solution = solve(interval, adjusted, target, result.u, degree);
    Real moved = 0;
    for (Index i = 0; i < n; ++i) {
      result.residuals[i] = target[i] - value(result.solution.coefficients, adjusted[i]);
      const Real share = slopes[i] * u_x[i] / result.u[i];
      const Real next = x[i] + share * u_x[i] / result.u[i] * result.residuals[i];
      moved = std::max(moved, std::abs(next - adjusted[i]));
      adjusted[i] = next;
    }
    if (moved <= Real(1e-14) * interval.half) return result;
  }
  throw base::BadInput(where, "the fit does not come to rest",
                       "smaller u_reference, or a model that follows the readings");
}

Fit report(const Readings& readings, const Solution& solution, const Vector& residuals,
           const Vector& weights) {
  const auto n = residuals.size();
  const auto size = solution.coefficients.size();
  const Vector y = column(readings.reading, n);
  const Real mean = weights.dot(y) / weights.sum();
  const Real total = weights.dot((y.array() - mean).square().matrix());
  const Real rest = weights.dot(residuals.cwiseAbs2());
  const auto dof = static_cast<Real>(n - size);
  const bool stated = !readings.u_reading.empty() || !readings.u_reference.empty();
  Fit fit{
      .coefficients = {},
      .standard_uncertainties = {},
      .covariance = {},
      .residual_standard_deviation = static_cast<double>(std::sqrt(residuals.squaredNorm() / dof)),
      .degrees_of_freedom = static_cast<int>(n - size),
      .chi_squared = stated ? static_cast<double>(rest) : std::numeric_limits<double>::quiet_NaN(),
      .r_squared = total > 0 ? static_cast<double>(1 - rest / total) : 1.0};
  const Real scale = stated ? 1 : rest / dof;
  for (Index i = 0; i < size; ++i) {
    fit.coefficients.push_back(static_cast<double>(solution.coefficients[i]));
    fit.standard_uncertainties.push_back(
        static_cast<double>(std::sqrt(scale * solution.covariance(i, i))));
    for (Index j = 0; j < size; ++j) {
      fit.covariance.push_back(static_cast<double>(scale * solution.covariance(i, j)));
    }
  }
  return fit;
}

}  // namespace

Fit fit_polynomial(const Readings& readings, int degree, std::string_view where) {
  require_readings(readings, degree, where);
  const Interval interval(readings.reference);
  if (!readings.u_reference.empty()) {
    const Adjusted adjusted = fit_both(interval, readings, degree, where);
    return report(readings, adjusted.solution, adjusted.residuals,
                  adjusted.u.cwiseAbs2().cwiseInverse());
  }
  const auto n = static_cast<Index>(readings.reference.size());
  const Vector x = column(readings.reference, n);
  const Vector y = column(readings.reading, n);
  const Vector u = readings.u_reading.empty() ? Vector::Ones(n) : column(readings.u_reading, n);
  const Solution solution = solve(interval, x, y, u, degree);
  Vector residuals(n);
  for (Index i = 0; i < n; ++i)
    residuals[i] = y[i] - value(solution.coefficients, x[i]);
  return report(readings, solution, residuals, u.cwiseAbs2().cwiseInverse());
}

double polynomial(std::span<const double> coefficients, double x) {
  double sum = 0.0;
  for (std::size_t k = coefficients.size(); k-- > 0;)
    sum = sum * x + coefficients[k];
  return sum;
}

double polynomial_slope(std::span<const double> coefficients, double x) {
  double sum = 0.0;
  for (std::size_t k = coefficients.size(); k-- > 1;) {
    sum = sum * x + static_cast<double>(k) * coefficients[k];
  }
  return sum;
}

}  // namespace windwright::metrology
