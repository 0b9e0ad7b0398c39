// SPDX-License-Identifier: Apache-2.0
#include "physics/motor.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/load_flow.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

namespace windwright::physics {
namespace {

using Complex = std::complex<double>;

void need(bool right, const char* where, const char* wrong, const char* what) {
  if (!right) throw base::BadInput(where, wrong, what);
}

void check(const Shaft& shaft, const char* where) {
  need(shaft.inertia_kg_m2 > 0.0, where, "inertia is not above 0", "above 0 kg m2");
  need(shaft.friction_N_m >= 0.0, where, "friction is below 0", "0 N m or more");
  need(shaft.driven_N_m_s2 >= 0.0, where, "driven torque is below 0", "0 N m s2 or more");
}

double friction_N_m(const Shaft& shaft, double speed_rad_s) {
  return shaft.friction_N_m * std::clamp(speed_rad_s, -1.0, 1.0);
}

// One order of the equivalent circuit, by its admittances: no division by the slip.
struct Circuit {
  Complex rotor_S;       // of rotor_ohm / slip and leakage
  Complex admittance_S;  // of the whole
  Complex gap_ratio;     // voltage across the gap over that of the terminals
};

double slip_of(const AcFan& fan, double speed_rad_s, double frequency_Hz, int order) {
  if (order != 1) return 1.0;
  return 1.0 - speed_rad_s * fan.pole_pairs / (2.0 * std::numbers::pi * frequency_Hz);
}

Circuit circuit_of(const AcFan& fan, double slip, double electrical_rad_s) {
  const Complex rotor_S = slip / Complex(fan.rotor_ohm, slip * electrical_rad_s * fan.leakage_H);
  const Complex gap_S = rotor_S + Complex(0.0, -1.0 / (electrical_rad_s * fan.magnetising_H));
  const Complex whole = 1.0 + fan.stator_ohm * gap_S;
  return {.rotor_S = rotor_S, .admittance_S = gap_S / whole, .gap_ratio = 1.0 / whole};
}

}  // namespace

void check(const DcMotor& motor) {
  need(motor.constant_V_s > 0.0, "DC motor", "torque constant is not above 0", "above 0 V s");
  need(motor.winding_ohm > 0.0, "DC motor", "winding resistance is not above 0", "above 0 ohm");
  need(motor.brush_drop_V >= 0.0, "DC motor", "brush drop is below 0", "0 V or more");
  check(motor.shaft, "DC motor");
}

void check(const AcFan& fan) {
  need(fan.stator_ohm >= 0.0, "AC fan", "stator resistance is below 0", "0 ohm or more");
  need(fan.magnetising_H > 0.0, "AC fan", "magnetising inductance is not above 0", "above 0 H");
  need(fan.leakage_H > 0.0, "AC fan", "leakage inductance is not above 0", "above 0 H");
  need(fan.rotor_ohm > 0.0, "AC fan", "rotor resistance is not above 0", "above 0 ohm");
  need(fan.pole_pairs >= 1, "AC fan", "no pole pair", "1 or more");
  check(fan.shaft, "AC fan");
}

ShaftFlow shaft_flow(const Shaft& shaft, double speed_rad_s, double torque_N_m) {
  const double friction = friction_N_m(shaft, speed_rad_s);
  const double driven = shaft.driven_N_m_s2 * speed_rad_s * std::abs(speed_rad_s);
  const double left_N_m = torque_N_m - friction - driven;
  return {.friction_W = friction * speed_rad_s,
          .driven_W = driven * speed_rad_s,
          .stored_W = left_N_m * speed_rad_s,
          .speed_rad_s2 = left_N_m / shaft.inertia_kg_m2};
}

DcFlow motor_dc_flow(const DcMotor& motor, double speed_rad_s, double voltage_V) {
  const double across_V = voltage_V - motor.constant_V_s * speed_rad_s;
  const double beyond_V = std::max(0.0, std::abs(across_V) - motor.brush_drop_V);
  DcFlow flow;
  flow.current_A = std::copysign(beyond_V, across_V) / motor.winding_ohm;
  flow.slope_S = beyond_V > 0.0 ? 1.0 / motor.winding_ohm : 0.0;
  const ShaftFlow shaft = shaft_flow(motor.shaft, speed_rad_s, motor.constant_V_s * flow.current_A);
  flow.power = {.electrical_W = voltage_V * flow.current_A,
                .heat_W = motor.winding_ohm * flow.current_A * flow.current_A +
                          motor.brush_drop_V * std::abs(flow.current_A) + shaft.friction_W,
                .radiated_W = 0.0,
                .mechanical_W = shaft.driven_W,
                .stored_W = shaft.stored_W};
  flow.rates.speed_rad_s2 = shaft.speed_rad_s2;
  return flow;
}

double settled_speed_rad_s(const DcMotor& motor, double voltage_V) {
  // k (V - brush - k w) / R = friction + driven w^2, a parabola with one root at or above 0.
  const double drive_V = voltage_V - motor.brush_drop_V;
  const double constant =
      motor.constant_V_s * drive_V / motor.winding_ohm - motor.shaft.friction_N_m;
  if (!(constant > 0.0)) return 0.0;
  const double linear = motor.constant_V_s * motor.constant_V_s / motor.winding_ohm;
  const double square = motor.shaft.driven_N_m_s2;
  return 2.0 * constant / (linear + std::sqrt(linear * linear + 4.0 * square * constant));
}

Complex fan_admittance_S(const AcFan& fan, double speed_rad_s, double frequency_Hz, int order) {
  const double electrical_rad_s = 2.0 * std::numbers::pi * frequency_Hz * order;
  return circuit_of(fan, slip_of(fan, speed_rad_s, frequency_Hz, order), electrical_rad_s)
      .admittance_S;
}

AcFlow fan_ac_flow(const AcFan& fan, double speed_rad_s, const AcSupply& supply) {
  AcFlow flow;
  double square_A2 = 0.0;
  double torque_N_m = 0.0;
  const std::size_t orders = supply.kind == OutputKind::sine ? 1 : harmonic_orders;
  for (std::size_t i = 0; i < orders; ++i) {
    const int order = order_of(i);
    const double electrical_rad_s = 2.0 * std::numbers::pi * supply.frequency_Hz * order;
    const double slip = slip_of(fan, speed_rad_s, supply.frequency_Hz, order);
    const Circuit circuit = circuit_of(fan, slip, electrical_rad_s);
    const double order_V = harmonic_V(supply, order);
    const Complex current = order_V * circuit.admittance_S;
    const double gap_V2 = std::norm(circuit.gap_ratio) * order_V * order_V;
    flow.harmonics_A[i] = current;
    square_A2 += std::norm(current);
    flow.power.electrical_W += order_V * current.real();
    flow.power.heat_W +=
        std::norm(current) * fan.stator_ohm + gap_V2 * std::norm(circuit.rotor_S) * fan.rotor_ohm;
    if (order == 1) {
      flow.reactive_power_var = -order_V * current.imag();
      torque_N_m = gap_V2 * circuit.rotor_S.real() * fan.pole_pairs / electrical_rad_s;
    }
  }
  const ShaftFlow shaft = shaft_flow(fan.shaft, speed_rad_s, torque_N_m);
  flow.power.heat_W += shaft.friction_W;
  flow.power.mechanical_W = shaft.driven_W;
  flow.power.stored_W = shaft.stored_W;
  flow.rates.speed_rad_s2 = shaft.speed_rad_s2;
  flow.rms_current_A = std::sqrt(square_A2);
  const double supply_V = rms_V(supply);
  flow.active_slope_A = supply_V > 0.0 ? 2.0 * flow.power.electrical_W / supply_V : 0.0;
  return flow;
}

}  // namespace windwright::physics
