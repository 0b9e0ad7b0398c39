// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_identification.h"

#include "base/errors.h"
#include "base/text.h"
#include "physics/bridge_cycle.h"
#include "physics/generator.h"

#include <Eigen/Dense>
#include <boost/math/distributions/chi_squared.hpp>
#include <ceres/jet.h>
#include <ceres/tiny_solver.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr std::size_t count = generator_parameters;
constexpr std::size_t locals = count + 2;  // with the point's true speed and true DC quantity
using Jet = ceres::Jet<double, static_cast<int>(locals)>;
using Values = std::array<double, count>;

double& field(physics::Generator& generator, GeneratorParameter parameter) {
  switch (parameter) {
    case GeneratorParameter::flux_linkage:
      return generator.flux_linkage_V_s;
    case GeneratorParameter::winding_resistance:
      return generator.winding_resistance_ohm;
    case GeneratorParameter::winding_inductance:
      return generator.winding_inductance_H;
    case GeneratorParameter::bearing_torque:
      return generator.bearing_torque_N_m;
    case GeneratorParameter::bearing_viscous:
      return generator.bearing_viscous_N_m_s;
    case GeneratorParameter::iron_hysteresis:
      return generator.iron_hysteresis_J;
    case GeneratorParameter::iron_eddy:
      break;
  }
  return generator.iron_eddy_J_s;
}

/// Bridge and winding alone, at a true speed and a true DC voltage (or current).
struct Electrical {
  double dc;          // direct current, or voltage where the current is given
  double torque_N_m;  // electromagnetic
};

struct BridgeInput {
  std::array<double, 5> value;  // flux linkage, resistance, inductance, speed, DC quantity
};

/// The residuals, in their standard uncertainties, over x: parameters in units of their scale, then
/// two shifts a point in units of the stated uncertainties of speed and DC quantity.
class Residuals {
 public:
  using Scalar = double;
  enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = Eigen::Dynamic };

  Residuals(const physics::Generator& start, std::span<const GeneratorPoint> points,
            const IdentificationOptions& options, const Values& scale)
      : start_(start), points_(points), options_(options), scale_(scale) {
    for (const auto& known : options.known)
      rows_ += known.has_value();
    for (const GeneratorPoint& point : points)
      rows_ += 2 + readings_of(point);
  }

  int NumResiduals() const { return rows_; }
  int NumParameters() const { return static_cast<int>(count + 2 * points_.size()); }

  bool operator()(const double* x, double* residuals, double* jacobian) const {
    if (jacobian != nullptr) std::fill(jacobian, jacobian + rows_ * NumParameters(), 0.0);
    Sink sink{.residuals = residuals, .jacobian = jacobian, .rows = rows_, .row = 0, .point = 0};
    std::array<Jet, locals> in;
    for (std::size_t i = 0; i < count; ++i) {
      in[i] = Jet(scale_[i] * x[i], static_cast<int>(i));
      in[i].v *= scale_[i];
      if (options_.known[i]) {
        sink.put((in[i] - options_.known[i]->value) / options_.known[i]->u);
      }
    }
    for (sink.point = 0; sink.point < points_.size(); ++sink.point) {
      for (std::size_t i = 0; i < 2; ++i)
        in[count + i] = Jet(x[count + 2 * sink.point + i], static_cast<int>(count + i));
      point_residuals(points_[sink.point], in, sink);
    }
    return true;
  }

  /// Which point a row belongs to; `points` for known values.
  std::size_t point_of_row(int row) const {
    for (const auto& known : options_.known)
      row -= known.has_value();
    for (std::size_t p = 0; p < points_.size() && row >= 0; ++p) {
      row -= 2 + readings_of(points_[p]);
      if (row < 0) return p;
    }
    return points_.size();
  }

 private:
  struct Sink {
    double* residuals;
    double* jacobian;  // column by column, or null
    int rows;
    int row;
    std::size_t point;

    void put(const Jet& value) {
      residuals[row] = value.a;
      for (std::size_t i = 0; jacobian != nullptr && i < locals; ++i) {
        const std::size_t column = i < count ? i : i + 2 * point;
        if (i >= count && value.v(static_cast<Eigen::Index>(i)) == 0.0) continue;
        jacobian[column * static_cast<std::size_t>(rows) + static_cast<std::size_t>(row)] +=
            value.v(static_cast<Eigen::Index>(i));
      }
      ++row;
    }
  };

  static bool is_loaded(const GeneratorPoint& point) { return point.dc_current_A.has_value(); }

  static int readings_of(const GeneratorPoint& point) {
    return (is_loaded(point) ? 1
                             : point.dc_voltage_V.has_value() + point.ac_voltage_V.has_value()) +
           point.torque_N_m.has_value();
  }

  void point_residuals(const GeneratorPoint& point, const std::array<Jet, locals>& in,
                       Sink& sink) const {
    sink.put(in[count]);
    sink.put(in[count + 1]);
    const Jet speed = point.rotor_speed_rad_s + point.u_rotor_speed_rad_s * in[count];
    const double poles = start_.pole_pairs;
    Jet drag = in[3] + in[4] * speed;
    if (point.magnetised) drag += poles * in[5] + poles * poles * in[6] * speed;
    if (!is_loaded(point)) {
      const Jet emf = in[0] * (poles * speed);
      const bool held = options_.terminals == DcTerminals::held_voltage;
      const double ratio = std::numbers::sqrt3 * (held ? 1.0 : 3.0 / std::numbers::pi);
      if (point.dc_voltage_V) {
        sink.put((ratio * emf - 2.0 * start_.diode_drop_V - point.dc_voltage_V->value) /
                 point.dc_voltage_V->u);
      }
      if (point.ac_voltage_V) {
        sink.put((emf / std::numbers::sqrt2 - point.ac_voltage_V->value) / point.ac_voltage_V->u);
      }
      if (point.torque_N_m) sink.put((drag - point.torque_N_m->value) / point.torque_N_m->u);
      return;
    }
    const bool held = options_.terminals == DcTerminals::held_voltage;
    const Reading& given = held ? *point.dc_voltage_V : *point.dc_current_A;
    const Reading& found = held ? *point.dc_current_A : *point.dc_voltage_V;
    const std::array<Jet, 2> out =
        electrical({in[0], in[1], in[2], speed, given.value + given.u * in[count + 1]});
    sink.put((out[0] - found.value) / found.u);
    if (point.torque_N_m) {
      sink.put((out[1] + drag - point.torque_N_m->value) / point.torque_N_m->u);
    }
  }

  Electrical electrical_at(const BridgeInput& at) const {
    physics::Generator generator = start_;
    generator.flux_linkage_V_s = std::max(1e-12, at.value[0]);
    generator.winding_resistance_ohm = std::max(1e-9, at.value[1]);
    generator.winding_inductance_H = std::max(0.0, at.value[2]);
    for (double* none : {&generator.bearing_torque_N_m, &generator.bearing_viscous_N_m_s,
                         &generator.iron_hysteresis_J, &generator.iron_eddy_J_s})
      *none = 0.0;
    const double speed_rad_s = at.value[3];
    const double dc = std::max(0.0, at.value[4]);
    if (options_.terminals == DcTerminals::held_voltage) {
      const physics::GeneratorLoad load =
          physics::generator_on_voltage(generator, speed_rad_s, dc).load;
      return {.dc = load.dc_current_A, .torque_N_m = load.shaft_torque_N_m};
    }
    const physics::GeneratorLoad load = physics::generator_at_current(generator, speed_rad_s, dc);
    return {.dc = load.dc_voltage_V, .torque_N_m = load.shaft_torque_N_m};
  }

  /// The bridge has no closed form to differentiate: central differences, chained to the Jets.
  std::array<Jet, 2> electrical(const std::array<Jet, 5>& in) const {
    BridgeInput at{};
    for (std::size_t i = 0; i < in.size(); ++i)
      at.value[i] = in[i].a;
    const Electrical here = electrical_at(at);
    std::array<Jet, 2> out{Jet(here.dc), Jet(here.torque_N_m)};
    for (std::size_t i = 0; i < in.size(); ++i) {
      const double size = i < count && i < 3 ? std::max(std::abs(at.value[i]), 0.1 * scale_[i])
                                             : std::max(std::abs(at.value[i]), 1e-6);
      const double step = 3e-6 * size;
      BridgeInput low = at;
      BridgeInput high = at;
      low.value[i] -= step;
      high.value[i] += step;
      const Electrical below = electrical_at(low);
      const Electrical above = electrical_at(high);
      out[0].v += (above.dc - below.dc) / (2.0 * step) * in[i].v;
      out[1].v += (above.torque_N_m - below.torque_N_m) / (2.0 * step) * in[i].v;
    }
    return out;
  }

  physics::Generator start_;
  std::span<const GeneratorPoint> points_;
  const IdentificationOptions& options_;
  Values scale_;
  int rows_ = 0;
};

void require_reading(const std::optional<Reading>& reading, const char* name) {
  if (!reading) return;
  if (std::isfinite(reading->value) && std::isfinite(reading->u) && reading->u > 0.0) return;
  throw base::BadInput(name,
                       base::number_text(reading->value) + " +- " + base::number_text(reading->u),
                       "a finite value and a standard uncertainty above 0");
}

void require_points(std::span<const GeneratorPoint> points, const IdentificationOptions& options) {
  for (const GeneratorPoint& point : points) {
    require_reading(Reading{point.rotor_speed_rad_s, 1.0}, "rotor speed");
    if (!(point.rotor_speed_rad_s > 0.0) || !(point.u_rotor_speed_rad_s >= 0.0)) {
      throw base::BadInput("rotor speed", base::number_text(point.rotor_speed_rad_s) + " rad/s",
                           "a speed above 0 with an uncertainty of 0 or more");
    }
    require_reading(point.dc_voltage_V, "DC voltage");
    require_reading(point.dc_current_A, "direct current");
    require_reading(point.torque_N_m, "torque");
    require_reading(point.ac_voltage_V, "phase voltage");
    if (point.dc_current_A && !point.dc_voltage_V) {
      throw base::BadInput("loaded point", "a direct current without a DC voltage", "both");
    }
    if (point.dc_current_A && !point.magnetised) {
      throw base::BadInput("loaded point", "a current without magnets", "a magnetised point");
    }
  }
  for (const auto& known : options.known)
    require_reading(known, "known value");
}

Values scales_of(physics::Generator start) {
  // Frictions may start at 0: a part of a typical torque then sets the scale.
  const double torque_N_m = 1e-2 * start.pole_pairs * start.flux_linkage_V_s;
  const double poles = start.pole_pairs;
  const Values typical{start.flux_linkage_V_s,
                       1.0,
                       1e-3,
                       torque_N_m,
                       1e-2 * torque_N_m,
                       torque_N_m / poles,
                       1e-2 * torque_N_m / poles / poles};
  Values scale{};
  for (std::size_t i = 0; i < count; ++i) {
    const double value = std::abs(field(start, static_cast<GeneratorParameter>(i)));
    scale[i] = value > 1e-3 * typical[i] ? value : typical[i];
  }
  return scale;
}

using Solver = ceres::TinySolver<Residuals>;
using Square = Eigen::Matrix<double, count, count>;

/// What all readings say of the parameters once the points' own unknowns are eliminated, in units
/// of the scales.
Square information_of(const Eigen::MatrixXd& jacobian) {
  const Eigen::Index own = jacobian.cols() - static_cast<Eigen::Index>(count);
  const auto shared = jacobian.leftCols(static_cast<Eigen::Index>(count));
  const auto rest = jacobian.rightCols(own);
  const Eigen::MatrixXd inner = rest.transpose() * rest;
  const Eigen::MatrixXd cross = rest.transpose() * shared;
  return shared.transpose() * shared - cross.transpose() * inner.llt().solve(cross);
}

/// Covariance by eigenvalues of the information scaled to a unit diagonal; directions without
/// information are left out, named, and make their parameters' uncertainty infinite.
void describe(const Square& information, const Values& scale, GeneratorIdentification& result) {
  constexpr double none = 1e-9;
  Eigen::Matrix<double, count, 1> root;
  for (Eigen::Index i = 0; i < root.size(); ++i)
    root(i) = std::sqrt(std::max(information(i, i), 1e-300));
  const Square scaled =
      root.cwiseInverse().asDiagonal() * information * root.cwiseInverse().asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Square> modes(scaled);
  Square inverse = Square::Zero();
  std::array<bool, count> lost{};
  for (Eigen::Index m = 0; m < root.size(); ++m) {
    const auto direction = modes.eigenvectors().col(m);
    if (modes.eigenvalues()(m) > none) {
      inverse += direction * direction.transpose() / modes.eigenvalues()(m);
      continue;
    }
    Confounded set{.parameters = {}, .entirely = true};
    for (std::size_t i = 0; i < count; ++i) {
      if (std::abs(direction(static_cast<Eigen::Index>(i))) < 1e-3) continue;
      lost[i] = true;
      set.parameters.push_back(static_cast<GeneratorParameter>(i));
    }
    result.confounded.push_back(set);
  }
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t j = 0; j < count; ++j) {
      const auto row = static_cast<Eigen::Index>(i);
      const auto column = static_cast<Eigen::Index>(j);
      result.covariance[i * count + j] =
          inverse(row, column) * scale[i] * scale[j] / root(row) / root(column);
      const double norm = std::sqrt(inverse(row, row) * inverse(column, column));
      const double correlation = norm > 0.0 ? inverse(row, column) / norm : 0.0;
      result.correlation[i * count + j] = correlation;
      if (i < j && std::abs(correlation) > 0.99 && !lost[i] && !lost[j]) {
        result.confounded.push_back(
            {.parameters = {static_cast<GeneratorParameter>(i), static_cast<GeneratorParameter>(j)},
             .entirely = false});
      }
    }
    result.u[i] = lost[i] ? std::numeric_limits<double>::infinity()
                          : std::sqrt(result.covariance[i * count + i]);
  }
}

/// The drag's two sums, whose uncertainty stays finite where their parts are confounded.
void add_drag(const Values& value, double pole_pairs, GeneratorIdentification& result) {
  const auto sum = [&](std::size_t a, std::size_t b, double weight) {
    const auto& c = result.covariance;
    const double variance =
        c[a * count + a] + 2.0 * weight * c[a * count + b] + weight * weight * c[b * count + b];
    return Reading{.value = value[a] + weight * value[b], .u = std::sqrt(std::max(0.0, variance))};
  };
  result.drag_torque_N_m = sum(3, 5, pole_pairs);
  result.drag_slope_N_m_s = sum(4, 6, pole_pairs * pole_pairs);
}

/// Chi-squared and the reading that misses most, each against its own residual's spread.
void test_residuals(const Residuals& function, const Eigen::VectorXd& residuals,
                    const Eigen::MatrixXd& jacobian, GeneratorIdentification& result) {
  const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(jacobian);
  const Eigen::Index rank = qr.rank();
  const Eigen::MatrixXd q = Eigen::MatrixXd(qr.householderQ()).leftCols(rank);
  result.chi_squared = residuals.squaredNorm();
  result.degrees_of_freedom = static_cast<int>(residuals.size() - rank);
  result.p_value = std::numeric_limits<double>::quiet_NaN();
  if (result.degrees_of_freedom < 1) return;
  const boost::math::chi_squared distribution(result.degrees_of_freedom);
  result.p_value = boost::math::cdf(boost::math::complement(distribution, result.chi_squared));
  for (Eigen::Index row = 0; row < residuals.size(); ++row) {
    const double free_part = 1.0 - q.row(row).squaredNorm();
    if (free_part < 1e-6) continue;  // the reading decides a parameter alone
    const double size = std::abs(residuals(row)) / std::sqrt(free_part);
    if (size <= result.largest_residual) continue;
    result.largest_residual = size;
    result.largest_point = function.point_of_row(static_cast<int>(row));
  }
}

std::string reason(Solver::Status status) {
  switch (status) {
    case Solver::GRADIENT_TOO_SMALL:
      return "the gradient vanished";
    case Solver::RELATIVE_STEP_SIZE_TOO_SMALL:
      return "the step became too small to matter";
    case Solver::COST_TOO_SMALL:
      return "the readings are met exactly";
    case Solver::COST_CHANGE_TOO_SMALL:
      return "chi-squared no longer changed";
    case Solver::HIT_MAX_ITERATIONS:
      break;
  }
  return "the limit of steps was reached";
}

}  // namespace

std::string_view name_of(GeneratorParameter parameter) {
  constexpr std::array<std::string_view, count> names{
      "flux_linkage_V_s",   "winding_resistance_ohm", "winding_inductance_H",
      "bearing_torque_N_m", "bearing_viscous_N_m_s",  "iron_hysteresis_J",
      "iron_eddy_J_s"};
  return names[static_cast<std::size_t>(parameter)];
}

GeneratorIdentification identify_generator(const physics::Generator& start,
                                           std::span<const GeneratorPoint> points,
                                           const IdentificationOptions& options) {
  require_points(points, options);
  const Values scale = scales_of(start);
  const Residuals function(start, points, options, scale);
  if (function.NumResiduals() <= static_cast<int>(2 * points.size())) {
    throw base::BadInput("identification", "no readings", "points with voltage, current or torque");
  }
  GeneratorIdentification result{};
  result.generator = start;
  Solver solver;
  solver.options.max_num_iterations = 200;
  solver.options.function_tolerance = 1e-11;
  solver.options.gradient_tolerance = 1e-12;
  solver.options.parameter_tolerance = 1e-12;
  Solver::Parameters x = Solver::Parameters::Zero(function.NumParameters());
  for (std::size_t i = 0; i < count; ++i) {
    x(static_cast<Eigen::Index>(i)) =
        field(result.generator, static_cast<GeneratorParameter>(i)) / scale[i];
  }
  const Solver::Summary summary = solver.Solve(function, &x);
  result.converged = summary.status != Solver::HIT_MAX_ITERATIONS;
  result.steps = summary.iterations;
  result.stopped_because = reason(summary.status);
  for (std::size_t i = 0; i < count; ++i) {
    result.value[i] = x(static_cast<Eigen::Index>(i)) * scale[i];
    field(result.generator, static_cast<GeneratorParameter>(i)) = result.value[i];
  }
  Eigen::VectorXd residuals(function.NumResiduals());
  Eigen::MatrixXd jacobian(function.NumResiduals(), function.NumParameters());
  function(x.data(), residuals.data(), jacobian.data());
  describe(information_of(jacobian), scale, result);
  add_drag(result.value, start.pole_pairs, result);
  test_residuals(function, residuals, jacobian, result);
  return result;
}

}  // namespace windwright::analysis
