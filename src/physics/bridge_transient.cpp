// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_transient.h"

#include "base/errors.h"
#include "base/text.h"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr std::size_t star = 6;       // the unknown after the six diodes' currents
constexpr double star_leak_S = 1e-9;  // fixes the star point's voltage while nothing conducts
constexpr std::array<double, 6> into_line{1.0,  -1.0, 1.0,
                                          -1.0, 1.0,  -1.0};  // upper, lower of a, b, c

void require(double value, const char* name) {
  if (std::isfinite(value) && value >= 0.0) return;
  throw base::BadInput(name, base::number_text(value), "a number of 0 or more");
}

using Matrix = Eigen::Matrix<double, 7, 7>;
using Vector = Eigen::Matrix<double, 7, 1>;

/// matrix times (diode currents, star voltage) less `driving` is each diode's reverse voltage; the
/// last row is the sum of the line currents.
struct Network {
  Matrix matrix;
  Vector driving;
};

/// Currents and star voltage where the diodes of a set conduct and the others carry nothing.
Vector solution(const Network& network, const std::array<bool, 6>& conducts) {
  Matrix matrix = network.matrix;
  Vector driving = network.driving;
  for (Eigen::Index d = 0; d < 6; ++d) {
    if (conducts[static_cast<std::size_t>(d)]) continue;
    matrix.row(d).setZero();
    matrix(d, d) = 1.0;
    driving(d) = 0.0;
  }
  return matrix.partialPivLu().solve(driving);
}

}  // namespace

BridgeTransient::BridgeTransient(const Generator& generator, const DcSide& side, BridgeFault fault)
    : generator_(generator), side_(side), fault_(fault) {
  require(side.inductance_H, "DC inductance");
  require(side.capacitance_F, "DC capacitance");
  require(side.voltage_V, "DC voltage");
  if (!side.holds_voltage && !(side.resistance_ohm > 0.0)) {
    throw base::BadInput("DC resistance", base::number_text(side.resistance_ohm) + " ohm",
                         "a resistance above 0");
  }
  if (!(generator.winding_resistance_ohm + generator.diode_resistance_ohm > 0.0) &&
      !(generator.winding_inductance_H > 0.0)) {
    throw base::BadInput("generator", "neither resistance nor inductance",
                         "a winding that limits its current");
  }
  if (side.holds_voltage) capacitor_V_ = side.voltage_V;
}

BridgeInstant BridgeTransient::advance(double rotor_speed_rad_s, double step_s) {
  if (!(step_s > 0.0) || !std::isfinite(step_s) || !std::isfinite(rotor_speed_rad_s)) {
    throw base::BadInput("time step", base::number_text(step_s) + " s", "a finite time above 0");
  }
  const double electrical_rad_s = generator_.pole_pairs * std::abs(rotor_speed_rad_s);
  angle_rad_ = std::fmod(angle_rad_ + electrical_rad_s * step_s, 2.0 * std::numbers::pi);
  const double line_ohm =
      generator_.winding_resistance_ohm + generator_.winding_inductance_H / step_s;
  const double dc_ohm = side_.inductance_H / step_s;
  const double leak_S =
      side_.holds_voltage ? 0.0 : side_.capacitance_F / step_s + 1.0 / side_.resistance_ohm;
  const double held_V =
      side_.holds_voltage ? side_.voltage_V : side_.capacitance_F / step_s * capacitor_V_ / leak_S;
  const double load_ohm = side_.holds_voltage ? 0.0 : 1.0 / leak_S;
  Network network{.matrix = Matrix::Zero(), .driving = Vector::Zero()};
  std::array<double, 3> emf_V{};
  for (std::size_t d = 0; d < 6; ++d) {
    const auto row = static_cast<Eigen::Index>(d);
    const std::size_t k = d / 2;
    const bool upper = d % 2 == 0;
    const bool shorted = fault_ == BridgeFault::shorted_diode && d == 0;
    emf_V[k] = generator_.flux_linkage_V_s * electrical_rad_s *
               std::sin(angle_rad_ - 2.0 * std::numbers::pi / 3.0 * static_cast<double>(k));
    const double behind_V =
        emf_V[k] + generator_.winding_inductance_H / step_s * line_current_A_[k];
    network.driving(row) = into_line[d] * behind_V - (shorted ? 0.0 : generator_.diode_drop_V);
    network.matrix(row, star) = -into_line[d];
    network.matrix(star, row) = into_line[d];
    network.matrix(row, row) += generator_.diode_resistance_ohm;
    for (const std::size_t other : {2 * k, 2 * k + 1}) {
      network.matrix(row, static_cast<Eigen::Index>(other)) +=
          into_line[d] * into_line[other] * line_ohm;
    }
    if (upper) {
      network.driving(row) -= held_V - dc_ohm * dc_current_A_;
      for (const Eigen::Index other : {0, 2, 4})
        network.matrix(row, other) += dc_ohm + load_ohm;
    }
  }
  network.matrix(star, star) = star_leak_S;
  const double scale_V = network.driving.cwiseAbs().maxCoeff() + 1e-300;
  const double tiny_A = 1e-12 * scale_V / (line_ohm + generator_.diode_resistance_ohm);
  Vector found = solution(network, conducts_);
  // The first diode that is wrong changes over (Murty's rule, which ends).
  for (int change = 0; change < 200; ++change) {
    std::size_t wrong = 6;
    const Vector reverse_V = network.matrix * found - network.driving;
    for (std::size_t d = 0; d < 6 && wrong == 6; ++d) {
      const auto row = static_cast<Eigen::Index>(d);
      const bool cut = fault_ == BridgeFault::open_phase && d < 2;
      const bool fixed = fault_ == BridgeFault::shorted_diode && d == 0;
      if (cut ? conducts_[d] : fixed && !conducts_[d]) wrong = d;
      if (cut || fixed) continue;
      const bool bad = conducts_[d] ? found(row) < -tiny_A : reverse_V(row) < -1e-12 * scale_V;
      if (bad) wrong = d;
    }
    if (wrong == 6) break;
    conducts_[wrong] = !conducts_[wrong];
    found = solution(network, conducts_);
  }
  BridgeInstant now{};
  now.electrical_angle_rad = angle_rad_;
  for (std::size_t k = 0; k < 3; ++k) {
    const double upper_A = found(static_cast<Eigen::Index>(2 * k));
    const double lower_A = found(static_cast<Eigen::Index>(2 * k + 1));
    const bool shorted = fault_ == BridgeFault::shorted_diode && k == 0;
    now.line_current_A[k] = upper_A - lower_A;
    now.dc_current_A += upper_A;
    now.emf_power_W += emf_V[k] * now.line_current_A[k];
    now.diode_loss_W += generator_.diode_drop_V * ((shorted ? 0.0 : upper_A) + lower_A) +
                        generator_.diode_resistance_ohm * (upper_A * upper_A + lower_A * lower_A);
  }
  now.capacitor_V = held_V + load_ohm * now.dc_current_A;
  now.dc_voltage_V = now.capacitor_V + dc_ohm * (now.dc_current_A - dc_current_A_);
  line_current_A_ = now.line_current_A;
  dc_current_A_ = now.dc_current_A;
  capacitor_V_ = now.capacitor_V;
  return now;
}

}  // namespace windwright::physics
