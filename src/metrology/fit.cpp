// SPDX-License-Identifier: Apache-2.0
#include "metrology/fit.h"

#include "base/errors.h"
#include "metrology/chebyshev.h"
#include "metrology/fit_parts.h"
#include "metrology/nonlinear_least_squares.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Real = Extended;
using Matrix = ExtendedMatrix;
using Vector = ExtendedVector;
using Eigen::Index;

// In rising powers of the reference, and of the mapped one.
struct Polynomial {
  Solution powers;
  Solution scaled;
};

// Minimises the sum of ((y - f(x)) / u)^2.
Polynomial solve(const Interval& interval, const Vector& x, const Vector& y, const Vector& u,
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
  const Matrix scaled = scaled_powers_of_chebyshev(degree);
  const Matrix scaled_root = scaled * inverse;
  return {.powers = {powers * solution, root * root.transpose()},
          .scaled = {scaled * solution, scaled_root * scaled_root.transpose()}};
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

void require_column(const std::vector<double>& values, std::size_t size, std::string_view name,
                    bool above_zero, std::string_view where) {
  if (values.size() != size) {
    throw base::BadInput(where, fmt::format("{} has {} values", name, values.size()),
                         fmt::format("{}, one a reading", size));
  }
  const Eigen::Map<const Eigen::ArrayXd> all(values.data(), static_cast<Index>(size));
  if (size == 0 || (all.allFinite() && (!above_zero || all.minCoeff() > 0.0))) return;
  for (const double entry : values) {
    if (std::isfinite(entry) && (!above_zero || entry > 0.0)) continue;
    throw base::BadInput(where, fmt::format("{} holds {}", name, entry),
                         above_zero ? "finite values above 0" : "finite values");
  }
}

void require_correlation(const Readings& readings, std::string_view where) {
  if (readings.correlation.empty()) return;
  require_column(readings.correlation, readings.reference.size(), "correlation", false, where);
  if (readings.u_reference.empty() || readings.u_reading.empty()) {
    throw base::BadInput(where, "correlation of uncertainties that are not stated",
                         "columns u_reference and u_reading beside it");
  }
  for (const double entry : readings.correlation) {
    if (std::abs(entry) < 1.0) continue;
    throw base::BadInput(where, fmt::format("correlation holds {}", entry),
                         "coefficients between -1 and 1");
  }
}

void require_readings(const Readings& readings, int degree, std::string_view where) {
  if (degree < 0 || degree > 12) {
    throw base::BadInput(where, fmt::format("polynomial of degree {}", degree), "0 to 12");
  }
  require_columns(readings, where);
  const std::size_t n = readings.reference.size();
  const auto coefficients = static_cast<std::size_t>(degree) + 1;
  if (n < coefficients + 1) {
    throw base::BadInput(where, fmt::format("{} readings for {} coefficients", n, coefficients),
                         fmt::format("at least {} readings", coefficients + 1));
  }
  const std::size_t wanted = std::max<std::size_t>(2, coefficients);
  std::vector<double> distinct;
  for (const double reference : readings.reference) {
    if (distinct.size() == wanted) break;
    if (std::find(distinct.begin(), distinct.end(), reference) == distinct.end())
      distinct.push_back(reference);
  }
  if (distinct.size() < wanted) {
    throw base::BadInput(
        where,
        fmt::format("{} distinct references for {} coefficients", distinct.size(), coefficients),
        fmt::format("at least {} distinct references", wanted));
  }
}

// Alternates between the weighted fit at the adjusted references and the adjustment of the
// references; at rest both are those of the least chi-squared.
struct Adjusted {
  Polynomial solution;
  Vector residuals;  // of the readings, at the stated references, along the tangent
  Vector u;          // of these residuals
};
Adjusted fit_both(const Interval& interval, const Readings& readings, int degree,
                  std::string_view where) {
  const std::size_t rows = readings.reference.size();
  const auto n = static_cast<Index>(rows);
  const BothUncertain both{column(readings.reference, rows), column(readings.reading, rows),
                           column(readings.u_reference, rows), column(readings.u_reading, rows),
                           column(readings.correlation, rows)};
  Vector adjusted = both.x;
  Adjusted result{solve(interval, both.x, both.y, Vector::Ones(n), degree), Vector(n), Vector(n)};
  constexpr int most_rounds = 200;
  for (int round = 0; round < most_rounds; ++round) {
    Vector target(n);
    Vector shift(n);
    for (Index i = 0; i < n; ++i) {
      const Real steepness =
          slope(result.solution.scaled.coefficients, interval.inside(adjusted[i])) / interval.half;
      const AlongTangent row = along_tangent(both, i, steepness, adjusted[i]);
      result.u[i] = std::sqrt(row.variance);
      shift[i] = row.shift;
      target[i] = row.target;
    }
    if (!(result.u.minCoeff() > 0)) {
      throw base::BadInput(where, "the curve is level and the readings have no uncertainty",
                           "a column u_reading");
    }
    result.solution = solve(interval, adjusted, target, result.u, degree);
    for (Index i = 0; i < n; ++i) {
      result.residuals[i] =
          target[i] - value(result.solution.scaled.coefficients, interval.inside(adjusted[i]));
    }
    const Vector next = both.x + shift.cwiseProduct(result.residuals);
    const Real moved = (next - adjusted).cwiseAbs().maxCoeff();
    adjusted = next;
    if (moved <= Real(1e-14) * interval.half) return result;
  }
  throw base::BadInput(where, "the fit does not come to rest",
                       "smaller u_reference, or a model that follows the readings");
}

Fit report(const Polynomial& solution, const Rest& rest, const Interval& interval) {
  Fit fit = report(solution.powers, rest);
  Fit scaled = report(solution.scaled, rest);
  fit.scaled = ScaledPowers{.middle = static_cast<double>(interval.middle),
                            .half_width = static_cast<double>(interval.half),
                            .coefficients = std::move(scaled.coefficients),
                            .covariance = std::move(scaled.covariance)};
  return fit;
}

std::optional<Fit> fit_very_many(const Readings& readings, int degree) {
  constexpr std::size_t very_many = 500;
  if (readings.reference.size() < very_many) return std::nullopt;
  std::vector<double> weight(readings.u_reading.size());
  const auto size = static_cast<Index>(weight.size());
  Eigen::Map<Eigen::ArrayXd>(weight.data(), size) =
      Eigen::Map<const Eigen::ArrayXd>(readings.u_reading.data(), size).square().inverse();
  const auto summed = fit_by_sums(readings.reference, readings.reading, weight, degree);
  if (!summed) return std::nullopt;
  const Interval interval(readings.reference);
  return report(Polynomial{.powers = {summed->coefficients, summed->covariance},
                           .scaled = {summed->scaled_coefficients, summed->scaled_covariance}},
                {.squares = summed->sum_of_squares,
                 .weighted_squares = summed->weighted_sum_of_squares,
                 .weighted_total = summed->weighted_total,
                 .readings = readings.reference.size(),
                 .stated = !weight.empty()},
                interval);
}

// Powers of the reference (rows) in each power of the mapped reference (columns): binomial.
Matrix powers_of_scaled(Real middle, Real half, Index size) {
  Matrix powers = Matrix::Zero(size, size);
  powers(0, 0) = 1;
  for (Index k = 1; k < size; ++k) {
    for (Index j = 0; j <= k; ++j) {
      powers(j, k) = -middle / half * powers(j, k - 1);
      if (j > 0) powers(j, k) += powers(j - 1, k - 1) / half;
    }
  }
  return powers;
}

Matrix square(const std::vector<double>& entries, Index size) {
  using Rows =
      Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;
  return Rows(entries.data(), size, size).cast<Real>();
}

// Entry by entry, against the rounding of the terms that made it.
bool is_near(const Matrix& got, const Matrix& wanted, const Matrix& terms) {
  constexpr Real rounding = 1e-12L;
  return ((got - wanted).cwiseAbs().array() <= rounding * terms.array()).all();
}

// Scaled columns, so that terms of any size keep their digits.
Solution solve_linear(const Matrix& system, const Vector& target, std::string_view where) {
  const Index size = system.cols();
  Vector lengths = system.colwise().norm();
  const Matrix scaled = system * lengths.cwiseInverse().asDiagonal();
  const Eigen::HouseholderQR<Matrix> qr(scaled);
  const Matrix triangle = qr.matrixQR().topRows(size).template triangularView<Eigen::Upper>();
  constexpr Real dependent = 1e-15L;
  if (!(lengths.minCoeff() > 0) || !triangle.allFinite() ||
      !(triangle.diagonal().cwiseAbs().minCoeff() > dependent)) {
    throw base::BadInput(where, "the terms of the model depend on each other",
                         "readings further apart, or fewer terms");
  }
  const Vector projected = (qr.householderQ().adjoint() * target).head(size);
  const Vector solution = triangle.template triangularView<Eigen::Upper>().solve(projected);
  const Matrix root =
      lengths.cwiseInverse().asDiagonal() *
      Matrix(triangle.template triangularView<Eigen::Upper>().solve(Matrix::Identity(size, size)));
  return {solution.cwiseQuotient(lengths), root * root.transpose()};
}

}  // namespace

void require_columns(const Readings& readings, std::string_view where) {
  const std::size_t n = readings.reference.size();
  require_column(readings.reference, n, "reference", false, where);
  require_column(readings.reading, n, "reading", false, where);
  if (!readings.u_reference.empty()) {
    require_column(readings.u_reference, n, "u_reference", true, where);
  }
  if (!readings.u_reading.empty()) {
    require_column(readings.u_reading, n, "u_reading", true, where);
  }
  require_correlation(readings, where);
  if (const std::size_t size = readings.covariance.size();
      size != 0 && size != n * n && size != 4 * n * n) {
    throw base::BadInput(where, fmt::format("a covariance of {} entries", size),
                         fmt::format("{0} rows and columns, or {1}", n, 2 * n));
  }
}

Fit fit_polynomial(const Readings& readings, int degree, std::string_view where) {
  require_readings(readings, degree, where);
  const Interval interval(readings.reference);
  const std::size_t rows = readings.reference.size();
  const auto n = static_cast<Index>(rows);
  if (!readings.u_reference.empty()) {
    const Adjusted adjusted = fit_both(interval, readings, degree, where);
    return report(adjusted.solution,
                  rest_of(column(readings.reading, rows), adjusted.residuals,
                          adjusted.u.cwiseAbs2().cwiseInverse(), true, true),
                  interval);
  }
  if (const auto fit = fit_very_many(readings, degree)) return *fit;
  const Vector x = column(readings.reference, rows);
  const Vector y = column(readings.reading, rows);
  const bool stated = !readings.u_reading.empty();
  const Vector u = stated ? column(readings.u_reading, rows) : Vector::Ones(n);
  const Polynomial solution = solve(interval, x, y, u, degree);
  Vector residuals(n);
  for (Index i = 0; i < n; ++i)
    residuals[i] = y[i] - value(solution.scaled.coefficients, interval.inside(x[i]));
  return report(solution, rest_of(y, residuals, u.cwiseAbs2().cwiseInverse(), true, stated),
                interval);
}

Fit fit_linear(const LinearReadings& readings, std::string_view where) {
  const std::size_t size = readings.coefficients;
  const std::size_t rows = readings.reading.size();
  require_column(readings.reading, rows, "reading", false, where);
  require_column(readings.terms, rows * size, "terms", false, where);
  const bool stated = !readings.u_reading.empty();
  if (stated) require_column(readings.u_reading, rows, "u_reading", true, where);
  if (size == 0 || rows <= size) {
    throw base::BadInput(where, fmt::format("{} readings for {} coefficients", rows, size),
                         fmt::format("at least {} readings", size + 1));
  }
  const auto n = static_cast<Index>(rows);
  const Vector y = column(readings.reading, rows);
  const Vector weights =
      stated ? Vector(column(readings.u_reading, rows).cwiseInverse()) : Vector::Ones(n);
  using Terms =
      Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;
  const Matrix terms = Terms(readings.terms.data(), n, static_cast<Index>(size)).cast<Real>();
  const Solution solution =
      solve_linear(weights.asDiagonal() * terms, weights.cwiseProduct(y), where);
  return report(solution, rest_of(y, y - terms * solution.coefficients, weights.cwiseAbs2(),
                                  readings.has_constant, stated));
}

Fit in_powers_of_reference(Fit fit_of_t, double middle, double half_width) {
  const auto size = static_cast<Index>(fit_of_t.coefficients.size());
  const Matrix powers = powers_of_scaled(middle, half_width, size);
  const Vector coefficients = powers * column(fit_of_t.coefficients, fit_of_t.coefficients.size());
  const Matrix covariance = powers * square(fit_of_t.covariance, size) * powers.transpose();
  Fit fit = fit_of_t;
  fit.coefficients = doubles(coefficients, 1);
  fit.standard_uncertainties = doubles(covariance.diagonal().cwiseMax(Real(0)).cwiseSqrt(), 1);
  fit.covariance = doubles(covariance, 1);
  fit.scaled = ScaledPowers{.middle = middle,
                            .half_width = half_width,
                            .coefficients = std::move(fit_of_t.coefficients),
                            .covariance = std::move(fit_of_t.covariance)};
  return fit;
}

bool agrees_with_scaled(const Fit& fit) {
  if (!fit.scaled) return true;
  const auto size = static_cast<Index>(fit.coefficients.size());
  const Matrix powers = powers_of_scaled(fit.scaled->middle, fit.scaled->half_width, size);
  const Matrix sizes = powers.cwiseAbs();
  const Vector c = column(fit.scaled->coefficients, fit.scaled->coefficients.size());
  const Matrix covariance = square(fit.scaled->covariance, size);
  return is_near(column(fit.coefficients, fit.coefficients.size()), powers * c,
                 sizes * c.cwiseAbs()) &&
         is_near(square(fit.covariance, size), powers * covariance * powers.transpose(),
                 sizes * covariance.cwiseAbs() * sizes.transpose());
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
