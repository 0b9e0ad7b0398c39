// SPDX-License-Identifier: Apache-2.0
#include "metrology/nonlinear_least_squares.h"

#include "base/errors.h"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Vector = Eigen::Matrix<Extended, Eigen::Dynamic, 1>;
using Matrix = Eigen::Matrix<Extended, Eigen::Dynamic, Eigen::Dynamic>;
using RowMatrix = Eigen::Matrix<Extended, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
using Eigen::Index;

struct Point {
  Vector parameters;
  Vector residuals;
  RowMatrix derivatives;
  Extended sum;  // of squares; infinity outside the domain

  Point(const NonlinearProblem& problem, const Vector& at)
      : parameters(at),
        residuals(static_cast<Index>(problem.residuals)),
        derivatives(static_cast<Index>(problem.residuals), static_cast<Index>(problem.parameters)),
        sum(0) {
    problem.evaluate({parameters.data(), problem.parameters}, {residuals.data(), problem.residuals},
                     {derivatives.data(), problem.residuals * problem.parameters});
    sum = residuals.squaredNorm();
    if (!std::isfinite(sum) || !derivatives.allFinite()) {
      sum = std::numeric_limits<Extended>::infinity();
    }
  }
};

// Minimises |r + J d|^2 + damping |D d|^2; J may be that of other unknowns than the parameters.
Vector damped_step(const Vector& residuals, const RowMatrix& derivatives, const Vector& scale,
                   Extended damping) {
  const Index n = residuals.size();
  const Index p = derivatives.cols();
  Matrix system = Matrix::Zero(n + (damping > 0 ? p : 0), p);
  system.topRows(n) = derivatives * scale.cwiseInverse().asDiagonal();
  if (damping > 0) system.bottomRows(p).diagonal().setConstant(std::sqrt(damping));
  Vector target = Vector::Zero(system.rows());
  target.head(n) = -residuals;
  return scale.cwiseInverse().cwiseProduct(
      Vector(Eigen::ColPivHouseholderQR<Matrix>(system).solve(target)));
}

Vector column_lengths(const RowMatrix& derivatives) {
  Vector lengths = derivatives.colwise().norm();
  for (Extended& length : lengths) {
    if (!(length > 0)) length = 1;
  }
  return lengths;
}

Vector newton_step(const Point& at) {
  return damped_step(at.residuals, at.derivatives, column_lengths(at.derivatives), 0);
}

Extended largest_change(const Vector& step, const Vector& parameters) {
  Extended most = 0;
  for (Index i = 0; i < step.size(); ++i) {
    const Extended size = std::abs(parameters[i]);
    most = std::max(most, size > 0 ? std::abs(step[i]) / size : std::abs(step[i]));
  }
  return most;
}

// How parameters are scaled against each other on the way.
enum class Scaling { longest_column, none };
struct Way {
  Extended damping;
  Scaling scaling;
  bool in_logarithms;  // of the parameters, each keeping its sign
};

struct Descent {
  Point at;
  int steps;
  NonlinearEnd end;
};

// Change of each parameter per change of its unknown: 1, or the parameter itself where the unknown
// is its logarithm.
Vector parameter_per_unknown(const Point& at, const Way& way) {
  Vector result = Vector::Ones(at.parameters.size());
  for (Index i = 0; way.in_logarithms && i < result.size(); ++i) {
    if (at.parameters[i] != 0) result[i] = at.parameters[i];
  }
  return result;
}

Vector moved(const Point& at, const Vector& step, const Way& way) {
  Vector result = at.parameters;
  for (Index i = 0; i < result.size(); ++i) {
    if (way.in_logarithms && result[i] != 0) {
      result[i] *= std::exp(step[i]);
    } else {
      result[i] += step[i];
    }
  }
  return result;
}

Descent descend(const NonlinearProblem& problem, const Point& start, const Way& way,
                const NonlinearOptions& options) {
  Descent result{start, 0, NonlinearEnd::exhausted};
  Point& at = result.at;
  RowMatrix derivatives = at.derivatives * parameter_per_unknown(at, way).asDiagonal();
  Vector longest = column_lengths(derivatives);
  const bool scaled = way.scaling == Scaling::longest_column;
  const Vector ones = Vector::Ones(longest.size());
  Extended damping = way.damping * (scaled ? 1 : longest.maxCoeff() * longest.maxCoeff());
  Extended growth = 2;
  constexpr Extended most_damping = 1e40L;
  for (; result.steps < options.most_steps; ++result.steps) {
    const Vector step = damped_step(at.residuals, derivatives, scaled ? longest : ones, damping);
    const Vector next_parameters = moved(at, step, way);
    if (largest_change(next_parameters - at.parameters, at.parameters) <= options.smallest_change &&
        largest_change(newton_step(at), at.parameters) <= 1e-9L) {
      result.end = NonlinearEnd::at_rest;
      return result;
    }
    const Point next(problem, next_parameters);
    const Extended promised = at.sum - (at.residuals + derivatives * step).squaredNorm();
    const Extended gained = at.sum - next.sum;
    if (gained > 0 && promised > 0) {
      const Extended ratio = gained / promised;
      damping *= std::max<Extended>(1.0L / 3, 1 - std::pow(2 * ratio - 1, 3));
      growth = 2;
      at = next;
      derivatives = at.derivatives * parameter_per_unknown(at, way).asDiagonal();
      longest = longest.cwiseMax(column_lengths(derivatives));
    } else {
      damping *= growth;
      growth *= 2;
      if (damping > most_damping || !std::isfinite(damping)) {
        result.end = NonlinearEnd::no_descent;
        return result;
      }
    }
  }
  return result;
}

// How far the parameter that moves the residuals most moves them: about as large as the readings.
Extended largest_effect(const Point& at) {
  return at.parameters.cwiseProduct(column_lengths(at.derivatives)).cwiseAbs().maxCoeff();
}

// As largest_change, but a parameter that moves the residuals by less than 1e-7 of that (a zero
// offset of readings that lie on the curve) need not come to rest to its own last digits, which are
// rounding.
Extended noticeable_change(const Vector& step, const Point& at) {
  constexpr Extended least = 1e-7L;
  const Vector size = least * largest_effect(at) * column_lengths(at.derivatives).cwiseInverse();
  return largest_change(step, at.parameters.cwiseAbs().cwiseMax(size));
}

// Full Gauss-Newton steps to the last digits; kept as long as they shrink.
void polish(const NonlinearProblem& problem, Descent& descent) {
  Extended last = std::numeric_limits<Extended>::infinity();
  constexpr int most_rounds = 50;
  constexpr Extended smallest_change = 1e-16L;
  for (int round = 0; round < most_rounds; ++round) {
    const Vector step = newton_step(descent.at);
    const Extended change = noticeable_change(step, descent.at);
    if (!(change < last)) return;
    const Point next(problem, descent.at.parameters + step);
    // Level to the rounding of the residuals themselves is still good, and that of the readings,
    // where the residuals are no more than it.
    const Extended rounding =
        16 * std::numeric_limits<Extended>::epsilon() * largest_effect(descent.at);
    const Extended level = std::sqrt(descent.at.sum) * (1 + 0.5e-9L) + rounding;
    if (!(std::sqrt(next.sum) <= level)) return;
    descent.at = next;
    last = change;
    if (change <= 1e-11L) descent.end = NonlinearEnd::at_rest;
    if (change <= smallest_change) return;
  }
}

Descent best_descent(const NonlinearProblem& problem, const Point& first,
                     const NonlinearOptions& options) {
  if (!options.every_way) {
    // From near, or with a linear model, whole steps arrive at once.
    Descent direct{first, 0, NonlinearEnd::exhausted};
    polish(problem, direct);
    if (direct.end == NonlinearEnd::at_rest) return direct;
  }
  std::optional<Descent> best;
  int steps = 0;
  for (const Way& way :
       {Way{1e-3L, Scaling::longest_column, false}, Way{1e-3L, Scaling::longest_column, true},
        Way{1e-8L, Scaling::longest_column, false}, Way{1e-3L, Scaling::none, false}}) {
    Descent descent = descend(problem, first, way, options);
    polish(problem, descent);
    steps += descent.steps;
    // Same valley: the one at rest, or the first.
    const bool lower = !best || descent.at.sum < best->at.sum * (1 - 1e-9L) ||
                       (descent.at.sum <= best->at.sum * (1 + 1e-9L) &&
                        best->end != NonlinearEnd::at_rest && descent.end == NonlinearEnd::at_rest);
    if (lower) best = std::move(descent);
    if (!options.every_way && best->end == NonlinearEnd::at_rest) break;
  }
  best->steps = steps;
  return *best;
}

// (J^T J)^-1 by QR of the scaled derivatives; nothing where they are dependent.
std::optional<Matrix> inverse_of(const Point& at) {
  const Vector scale = column_lengths(at.derivatives);
  const Index p = at.parameters.size();
  const Matrix scaled = at.derivatives * scale.cwiseInverse().asDiagonal();
  const Eigen::HouseholderQR<Matrix> qr(scaled);
  const Matrix triangle = qr.matrixQR().topRows(p).template triangularView<Eigen::Upper>();
  const Vector diagonal = triangle.diagonal().cwiseAbs();
  constexpr Extended dependent = 1e-15L;
  if (!(diagonal.minCoeff() > dependent * diagonal.maxCoeff())) return std::nullopt;
  const Matrix root =
      scale.cwiseInverse().asDiagonal() *
      Matrix(triangle.template triangularView<Eigen::Upper>().solve(Matrix::Identity(p, p)));
  return root * root.transpose();
}

std::vector<Extended> values(const Vector& vector) {
  return {vector.data(), vector.data() + vector.size()};
}

}  // namespace

NonlinearResult least_squares(const NonlinearProblem& problem, std::span<const Extended> start,
                              std::string_view where, const NonlinearOptions& options) {
  const Point first(problem,
                    Eigen::Map<const Vector>(start.data(), static_cast<Index>(problem.parameters)));
  if (!std::isfinite(first.sum)) {
    throw base::BadInput(where, "the model has no finite value at the start of its fit",
                         "readings inside the model's domain");
  }
  const Descent best = best_descent(problem, first, options);
  const std::optional<Matrix> inverse = inverse_of(best.at);
  if (!inverse) {
    throw base::BadInput(where, "the readings do not tell the coefficients apart",
                         "readings further apart, or a model with fewer coefficients");
  }
  return {.parameters = values(best.at.parameters),
          .residuals = values(best.at.residuals),
          .inverse = values(Eigen::Map<const Vector>(inverse->data(), inverse->size())),
          .sum_of_squares = best.at.sum,
          .steps = best.steps,
          .end = best.end};
}

}  // namespace windwright::metrology
