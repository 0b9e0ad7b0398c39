// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/bridge_cycle.h"
#include "physics/generator.h"

#include <array>

namespace windwright::physics {

/// What hangs on the DC terminals: an inductor in series, then either a held voltage or a
/// resistance with a capacitor across it.
struct DcSide {
  double inductance_H = 0.0;   // 0: none
  bool holds_voltage = false;  // battery of voltage_V; else resistance and capacitor
  double voltage_V = 0.0;
  double resistance_ohm = 1.0;  // above 0
  double capacitance_F = 0.0;   // 0: none
};

/// State and outputs at one instant; currents and powers are those of the step that ended here.
struct BridgeInstant {
  double electrical_angle_rad;
  std::array<double, 3> line_current_A;
  double dc_current_A;
  double dc_voltage_V;  // at the bridge's DC terminals, before the inductor
  double capacitor_V;   // or the held voltage
  double emf_power_W;   // of the three EMFs together
  double diode_loss_W;  // thresholds and slopes
};

/// The circuit of phases, six diodes and DC side through time, for whatever is not a steady
/// sinusoidal period on a held voltage: run-up, a smoothing capacitor or inductor, a fault that
/// begins. Implicit steps; at each the diodes that conduct are those of the linear complementarity
/// problem "each diode either carries current or blocks voltage" (Leenaerts, van Bokhoven,
/// Piecewise Linear Modeling and Analysis (1998), from memory), found by pivoting from the last
/// step's set. First order: an error of about half the step in angle. Independent of bridge_cycle,
/// and its check.
class BridgeTransient {
 public:
  /// @throws BadInput  a negative or not finite value; no inductance or resistance in the phases;
  ///                   a resistance that is not above 0
  BridgeTransient(const Generator& generator, const DcSide& side,
                  BridgeFault fault = BridgeFault::none);

  /// Starts from these; 0 everywhere else.
  void set_capacitor_voltage_V(double voltage_V) { capacitor_V_ = voltage_V; }
  void set_dc_current_A(double current_A) { dc_current_A_ = current_A; }

  /// One step at a rotor speed. @param step_s  above 0
  BridgeInstant advance(double rotor_speed_rad_s, double step_s);

 private:
  Generator generator_;
  DcSide side_;
  BridgeFault fault_;
  double angle_rad_ = 0.0;
  std::array<double, 3> line_current_A_{};
  double dc_current_A_ = 0.0;
  double capacitor_V_ = 0.0;
  std::array<bool, 6> conducts_{};
};

}  // namespace windwright::physics
