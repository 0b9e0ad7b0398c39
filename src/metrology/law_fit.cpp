// SPDX-License-Identifier: Apache-2.0
#include "metrology/law_fit.h"

#include "base/errors.h"
#include "base/text.h"
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
#include <set>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Eigen::Index;

// Readings as argument and value, whichever way the law goes.
struct Table {
  std::vector<double> argument;
  std::vector<double> value;
  std::vector<double> u_argument;
  std::vector<double> u_value;
  std::vector<double> correlation;
  std::vector<double> covariance;  // of the values, or of the arguments and then the values

  std::size_t size() const { return argument.size(); }
  bool is_stated() const { return !u_argument.empty() || !u_value.empty() || !covariance.empty(); }
};

// Halves of a covariance matrix of two columns, exchanged.
std::vector<double> exchanged(const std::vector<double>& covariance, std::size_t n) {
  if (covariance.size() != 4 * n * n) return covariance;
  std::vector<double> result(covariance.size());
  for (std::size_t i = 0; i < 2 * n; ++i) {
    for (std::size_t j = 0; j < 2 * n; ++j)
      result[i * 2 * n + j] = covariance[(i + n) % (2 * n) * 2 * n + (j + n) % (2 * n)];
  }
  return result;
}

Table table_of(const Law& law, const Readings& readings) {
  if (!law.is_backward()) {
    return {readings.reference, readings.reading,     readings.u_reference,
            readings.u_reading, readings.correlation, readings.covariance};
  }
  return {readings.reading,     readings.reference,
          readings.u_reading,   readings.u_reference,
          readings.correlation, exchanged(readings.covariance, readings.reading.size())};
}

void require_table(const Law& law, const Table& table, std::string_view where) {
  const std::size_t size = law.names().size();
  const std::size_t least = table.is_stated() ? size : size + 1;
  if (table.size() < least) {
    throw base::BadInput(where, fmt::format("{} readings for {} coefficients", table.size(), size),
                         fmt::format("at least {} readings{}", least,
                                     table.is_stated() ? "" : ", or stated uncertainties"));
  }
  const char* name = law.is_backward() ? "reading" : "reference";
  const std::set<double> distinct(table.argument.begin(), table.argument.end());
  if (distinct.size() < size) {
    throw base::BadInput(
        where, fmt::format("{} distinct {}s for {} coefficients", distinct.size(), name, size),
        fmt::format("at least {} distinct {}s", size, name));
  }
  if (*distinct.begin() < law.lowest_argument()) {
    throw base::BadInput(
        where, fmt::format("{} {}", name, *distinct.begin()),
        fmt::format("{} or more for this model", law.is_backward() ? "above 0" : "0"));
  }
}

struct Fitted {
  ExtendedVector coefficients;
  ExtendedMatrix inverse;    // of the coefficients' weights: their covariance with stated ones
  ExtendedVector residuals;  // of the values along the tangent
  ExtendedVector weights;    // of these
  Extended chi_squared;
};

ExtendedVector vector_of(std::span<const Extended> values) {
  return Eigen::Map<const ExtendedVector>(values.data(), static_cast<Index>(values.size()));
}

// Weighted residuals of the values at given arguments.
class Fitter {
 public:
  Fitter(const Law& law, std::string_view where)
      : law_(law), size_(law.names().size()), where_(where) {}

  Fitted fit(const ExtendedVector& x, const ExtendedVector& y, const ExtendedVector& u,
             const std::vector<Extended>& start) const {
    const auto n = static_cast<std::size_t>(x.size());
    const NonlinearProblem problem{
        .residuals = n,
        .parameters = size_,
        .evaluate = [&](std::span<const Extended> c, std::span<Extended> residuals,
                        std::span<Extended> derivatives) {
          for (std::size_t i = 0; i < n; ++i) {
            const auto at = static_cast<Index>(i);
            Extended slope = 0;
            const std::span<Extended> gradient = derivatives.subspan(i * size_, size_);
            residuals[i] = (law_.evaluate(c, x[at], slope, gradient) - y[at]) / u[at];
            for (Extended& entry : gradient)
              entry /= u[at];
          }
        }};
    const NonlinearResult got =
        least_squares(problem, start, where_, {.most_steps = 500, .every_way = false});
    if (got.end != NonlinearEnd::at_rest) {
      throw base::BadInput(where_, "the fit does not come to rest",
                           "readings that follow the model, over more of its range");
    }
    const auto size = static_cast<Index>(size_);
    return {vector_of(got.parameters),
            Eigen::Map<const ExtendedMatrix>(got.inverse.data(), size, size),
            -u.cwiseProduct(vector_of(got.residuals)), u.cwiseAbs2().cwiseInverse(),
            got.sum_of_squares};
  }

  Extended value(const ExtendedVector& c, Extended x, Extended& slope) const {
    std::vector<Extended> gradient(size_);
    return law_.evaluate({c.data(), size_}, x, slope, gradient);
  }
  std::size_t size() const { return size_; }
  const Law& law() const { return law_; }

 private:
  const Law& law_;
  std::size_t size_;
  std::string_view where_;
};

std::vector<Extended> start_of(const Fitted& fitted) {
  return {fitted.coefficients.data(), fitted.coefficients.data() + fitted.coefficients.size()};
}

// Alternates between the fit at the adjusted arguments and the adjustment, as fit_polynomial does.
Fitted fit_both(const Fitter& curve, const Table& table, Fitted fitted, std::string_view where) {
  const std::size_t rows = table.size();
  const auto n = static_cast<Index>(rows);
  const BothUncertain both{column(table.argument, rows), column(table.value, rows),
                           column(table.u_argument, rows), column(table.u_value, rows),
                           column(table.correlation, rows)};
  ExtendedVector adjusted = both.x;
  ExtendedVector u(n);
  ExtendedVector shift(n);
  const Extended width = both.x.maxCoeff() - both.x.minCoeff();
  constexpr int most_rounds = 300;
  for (int round = 0; round < most_rounds; ++round) {
    ExtendedVector target(n);
    for (Index i = 0; i < n; ++i) {
      Extended slope = 0;
      curve.value(fitted.coefficients, adjusted[i], slope);
      const AlongTangent row = along_tangent(both, i, slope, adjusted[i]);
      if (!(row.variance > 0) || !std::isfinite(row.variance)) {
        throw base::BadInput(
            where,
            fmt::format("at {} {} the curve is level or has no slope, and u_{} "
                        "alone gives no weight",
                        curve.law().is_backward() ? "reading" : "reference",
                        base::number_text(table.argument[static_cast<std::size_t>(i)]),
                        curve.law().is_backward() ? "reading" : "reference"),
            "a reading elsewhere, or the other uncertainty too");
      }
      u[i] = std::sqrt(row.variance);
      shift[i] = row.shift;
      target[i] = row.target;
    }
    fitted = curve.fit(adjusted, target, u, start_of(fitted));
    const ExtendedVector next = both.x + shift.cwiseProduct(fitted.residuals);
    const Extended moved = (next - adjusted).cwiseAbs().maxCoeff();
    adjusted = next;
    if (moved <= 1e-14L * width) return fitted;
  }
  throw base::BadInput(
      where, "the fit does not come to rest",
      "smaller uncertainties of the argument, or a model that follows the readings");
}

// L with L L^T = covariance.
ExtendedMatrix root_of(const std::vector<double>& covariance, Index size, std::string_view where) {
  const auto rows = static_cast<std::size_t>(size);
  ExtendedMatrix whole = ExtendedMatrix::Zero(size, size);
  bool is_symmetric = true;
  for (std::size_t i = 0; i < rows; ++i) {
    for (std::size_t j = 0; j < rows; ++j) {
      const double entry = covariance[i * rows + j];
      const double bound = std::sqrt(covariance[i * rows + i] * covariance[j * rows + j]);
      is_symmetric &= std::abs(entry - covariance[j * rows + i]) <= 1e-9 * bound;
      whole(static_cast<Index>(i), static_cast<Index>(j)) = entry;
    }
  }
  if (!is_symmetric) {
    throw base::BadInput(where, "the covariance of the readings is not symmetric and finite",
                         "variances above 0, and one number a pair, the same both ways round");
  }
  const Eigen::LLT<ExtendedMatrix> factors(whole);
  if (factors.info() != Eigen::Success) {
    throw base::BadInput(where, "the covariance of the readings is contradictory or singular",
                         "a positive definite matrix: no correlation of 1, no variance of 0");
  }
  return factors.matrixL();
}

// All arguments and coefficients at once, the errors whitened by the root of their covariance.
Fitted fit_joint(const Fitter& curve, const Table& table, const Fitted& first,
                 std::string_view where) {
  const auto n = static_cast<Index>(table.size());
  const auto size = static_cast<Index>(curve.size());
  const bool both = table.covariance.size() == 4 * table.size() * table.size();
  const Index rows = both ? 2 * n : n;
  const Index unknowns = size + (both ? n : 0);
  const ExtendedMatrix root = root_of(table.covariance, rows, where);
  const ExtendedVector x = column(table.argument, table.size());
  const ExtendedVector y = column(table.value, table.size());
  const auto whiten = [&](const ExtendedMatrix& matrix) {
    return ExtendedMatrix(root.triangularView<Eigen::Lower>().solve(matrix));
  };
  const NonlinearProblem problem{
      .residuals = static_cast<std::size_t>(rows),
      .parameters = static_cast<std::size_t>(unknowns),
      .evaluate = [&](std::span<const Extended> p, std::span<Extended> residuals,
                      std::span<Extended> derivatives) {
        const Index first_value = both ? n : 0;
        ExtendedMatrix errors = ExtendedMatrix::Zero(rows, 1);
        ExtendedMatrix jacobian = ExtendedMatrix::Zero(rows, unknowns);
        std::vector<Extended> gradient(curve.size());
        for (Index i = 0; i < n; ++i) {
          const Extended at = both ? p[static_cast<std::size_t>(size + i)] : x[i];
          Extended slope = 0;
          errors(first_value + i, 0) =
              curve.law().evaluate(p.first(curve.size()), at, slope, gradient) - y[i];
          for (Index k = 0; k < size; ++k)
            jacobian(first_value + i, k) = gradient[static_cast<std::size_t>(k)];
          if (!both) continue;
          errors(i, 0) = at - x[i];
          jacobian(i, size + i) = 1;
          jacobian(n + i, size + i) = slope;
        }
        const ExtendedMatrix white = whiten(errors);
        std::copy(white.data(), white.data() + rows, residuals.begin());
        const ExtendedMatrix rows_first = whiten(jacobian).transpose();
        std::copy(rows_first.data(), rows_first.data() + rows_first.size(), derivatives.begin());
      }};
  std::vector<Extended> start = start_of(first);
  if (both) start.insert(start.end(), x.data(), x.data() + n);
  const NonlinearResult got =
      least_squares(problem, start, where, {.most_steps = 500, .every_way = false});
  if (got.end != NonlinearEnd::at_rest) {
    throw base::BadInput(where, "the fit does not come to rest",
                         "a model that follows the readings");
  }
  Fitted result{
      vector_of(std::span(got.parameters).first(curve.size())),
      ExtendedMatrix(Eigen::Map<const ExtendedMatrix>(got.inverse.data(), unknowns, unknowns)
                         .topLeftCorner(size, size)),
      ExtendedVector(n), ExtendedVector::Ones(n), got.sum_of_squares};
  for (Index i = 0; i < n; ++i) {
    Extended slope = 0;
    result.residuals[i] = y[i] - curve.value(result.coefficients, x[i], slope);
  }
  return result;
}

Fit report(const Fitted& fitted, const Table& table, bool about_mean) {
  Fit fit = report(Solution{fitted.coefficients, fitted.inverse},
                   rest_of(column(table.value, table.size()), fitted.residuals, fitted.weights,
                           about_mean, table.is_stated()));
  // With a whole covariance the weights of single rows do not make it up.
  if (table.is_stated()) fit.chi_squared = static_cast<double>(fitted.chi_squared);
  return fit;
}

}  // namespace

Fit fit_law(const Law& law, const Readings& readings, std::string_view where) {
  require_columns(readings, where);
  const Table table = table_of(law, readings);
  require_table(law, table, where);
  const Fitter curve(law, where);
  const std::size_t rows = table.size();
  const bool by_row = table.covariance.empty();
  const ExtendedVector u = by_row && !table.u_value.empty()
                               ? column(table.u_value, rows)
                               : ExtendedVector::Ones(static_cast<Index>(rows));
  Fitted fitted = curve.fit(column(table.argument, rows), column(table.value, rows), u,
                            law.start(table.argument, table.value));
  if (!by_row) {
    fitted = fit_joint(curve, table, fitted, where);
  } else if (!table.u_argument.empty()) {
    fitted = fit_both(curve, table, std::move(fitted), where);
  }
  return report(fitted, table, law.has_constant());
}

std::vector<DegreeTried> degrees_tried(const Readings& readings, int highest,
                                       std::string_view where) {
  const std::set<double> distinct(readings.reference.begin(), readings.reference.end());
  const auto n = static_cast<double>(readings.reference.size());
  std::vector<DegreeTried> tried;
  for (int degree = 1; degree <= highest; ++degree) {
    const bool stated = !readings.u_reading.empty() || !readings.u_reference.empty();
    const double k = degree + (stated ? 1 : 2);
    if (n - k - 1.0 < 1.0 || distinct.size() < static_cast<std::size_t>(degree) + 1) break;
    const Fit fit = fit_polynomial(readings, degree, where);
    const double squares = std::pow(fit.residual_standard_deviation, 2) * fit.degrees_of_freedom;
    constexpr double least = 1e-300;  // readings on the curve
    const double distance = stated ? fit.chi_squared : n * std::log(std::max(squares, least) / n);
    tried.push_back({degree, distance + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0)});
  }
  if (tried.empty()) {
    throw base::BadInput(where, fmt::format("{} readings to choose a degree from", n),
                         "at least 5, at two references or more");
  }
  return tried;
}

int chosen_degree(const std::vector<DegreeTried>& tried) {
  double least = std::numeric_limits<double>::infinity();
  for (const DegreeTried& one : tried)
    least = std::min(least, one.criterion);
  constexpr double no_evidence = 2.0;
  for (const DegreeTried& one : tried) {
    if (one.criterion <= least + no_evidence) return one.degree;
  }
  return tried.front().degree;
}

}  // namespace windwright::metrology
