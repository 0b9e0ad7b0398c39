// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr double open_circuit = std::numeric_limits<double>::infinity();

/// A number between low and high, spread evenly over their logarithms.
double spread(double low, double high) {
  // inRange widens with the size of the test; at the nominal size it spans all it is given.
  const double part = *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
  return low * std::pow(high / low, part);
}

Generator any_generator() {
  return {.pole_pairs = *rc::gen::inRange(1, 20),
          .flux_linkage_V_s = spread(1e-3, 1.0),
          .winding_resistance_ohm = spread(1e-2, 10.0),
          .winding_inductance_H = *rc::gen::element(0, 1) * spread(1e-6, 0.1),
          .diode_drop_V = spread(1e-2, 1.5),
          .diode_resistance_ohm = spread(1e-3, 0.5),
          .bearing_torque_N_m = spread(1e-4, 0.1),
          .bearing_viscous_N_m_s = spread(1e-7, 1e-3),
          .iron_hysteresis_J = spread(1e-6, 1e-2),
          .iron_eddy_J_s = spread(1e-8, 1e-4),
          .cogging_torque_N_m = 0.01};
}

/// A speed from just above where current starts to flow to a thousand times that.
double any_speed_rad_s(const Generator& generator) {
  const double cut_in_rad_s =
      2.0 * generator.diode_drop_V * std::numbers::pi /
      (3.0 * std::numbers::sqrt3 * generator.pole_pairs * generator.flux_linkage_V_s);
  return cut_in_rad_s * (1.0 + spread(1e-2, 1e3));
}

RC_GTEST_PROP(Generator, EveryWattIsAccountedFor, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = spread(0.1, 1000.0);
  const double resistance_ohm = spread(1e-3, 1e5);
  const GeneratorLoad load = generator_load(generator, speed_rad_s, resistance_ohm);
  const double shaft_W = load.shaft_torque_N_m * speed_rad_s;
  const double uses_W = load.dc_power_W + load.rectifier_loss_W + load.winding_loss_W +
                        load.iron_loss_W + load.bearing_loss_W;
  RC_ASSERT(std::abs(shaft_W - uses_W) <= 1e-12 * shaft_W);
  RC_ASSERT(load.electromagnetic_power_W >= load.dc_power_W);
  RC_ASSERT(load.dc_power_W >= 0.0);
}

// The electromagnetic power is summed up from its uses; that it is also what the back-EMF delivers
// at this current, with the overlap reported, is what the solver has to achieve. Without resistance
// all three modes have closed forms.
RC_GTEST_PROP(Generator, TheBackEmfDeliversTheElectromagneticPowerOfLosslessCommutation, ()) {
  Generator generator = any_generator();
  generator.winding_resistance_ohm = 0.0;
  generator.diode_resistance_ohm = 0.0;
  const double speed_rad_s = any_speed_rad_s(generator);
  const GeneratorLoad load = generator_load(generator, speed_rad_s, spread(1e-3, 1e5));
  RC_ASSERT(load.dc_current_A > 0.0);
  const double pi = std::numbers::pi;
  const double no_load_V = 3.0 * std::numbers::sqrt3 * load.phase_emf_peak_V / pi;
  const double reactance_ohm = load.electrical_rad_s * generator.winding_inductance_H;
  double mean_V = no_load_V - 3.0 * reactance_ohm * load.dc_current_A / pi;
  if (load.overlap_rad > pi / 3.0) {
    mean_V = 9.0 / pi * (load.phase_emf_peak_V - reactance_ohm * load.dc_current_A);
  } else if (load.overlap_rad > pi / 3.0 - 1e-6) {
    // The ellipse of the second mode: (V / V0)^2 / (3/4) + x^2 = 1.
    const double x =
        2.0 * reactance_ohm * load.dc_current_A / (std::numbers::sqrt3 * load.phase_emf_peak_V);
    mean_V = no_load_V * std::sqrt(0.75 * (1.0 - x * x));
  }
  RC_ASSERT(std::abs(mean_V * load.dc_current_A - load.electromagnetic_power_W) <=
            1e-9 * no_load_V * load.dc_current_A);
}

RC_GTEST_PROP(Generator, VoltageFallsAndCurrentRisesAsTheLoadGrows, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = any_speed_rad_s(generator);
  const double resistance_ohm = spread(1e-3, 1e4);
  const GeneratorLoad light = generator_load(generator, speed_rad_s, 1.01 * resistance_ohm);
  RC_ASSERT(light.dc_current_A > 0.0);
  const GeneratorLoad heavy = generator_load(generator, speed_rad_s, resistance_ohm);
  RC_ASSERT(heavy.dc_current_A > light.dc_current_A);
  RC_ASSERT(heavy.dc_voltage_V < light.dc_voltage_V);
}

// Twice the speed with twice the resistances and diode drops, half the inductive share unchanged:
// every voltage doubles, every current stays.
RC_GTEST_PROP(Generator, ScalesWithVoltage, ()) {
  const Generator generator = any_generator();
  Generator doubled = generator;
  doubled.winding_resistance_ohm *= 2.0;
  doubled.diode_drop_V *= 2.0;
  doubled.diode_resistance_ohm *= 2.0;
  const double speed_rad_s = any_speed_rad_s(generator);
  const double resistance_ohm = spread(1e-2, 1e4);
  const GeneratorLoad once = generator_load(generator, speed_rad_s, resistance_ohm);
  const GeneratorLoad twice = generator_load(doubled, 2.0 * speed_rad_s, 2.0 * resistance_ohm);
  RC_ASSERT(std::abs(twice.dc_voltage_V - 2.0 * once.dc_voltage_V) <= 1e-10 * twice.dc_voltage_V);
  RC_ASSERT(std::abs(twice.dc_current_A - once.dc_current_A) <= 1e-10 * once.dc_current_A);
  RC_ASSERT(std::abs(twice.overlap_rad - once.overlap_rad) <= 1e-9);
}

RC_GTEST_PROP(Generator, BalancingResistanceTakesUpTheTorqueItWasAskedFor, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = *rc::gen::element(-1, 1) * any_speed_rad_s(generator);
  const double drag_N_m = generator_load(generator, speed_rad_s, open_circuit).shaft_torque_N_m;
  // Up to what a lightly loaded machine takes, so that most cases have an answer.
  const double loaded_N_m =
      generator_load(generator, speed_rad_s, spread(1e-2, 1e5)).shaft_torque_N_m;
  const double torque_N_m = drag_N_m + (loaded_N_m - drag_N_m) * spread(1e-3, 1.0);
  const auto resistance_ohm = balancing_resistance_ohm(generator, speed_rad_s, torque_N_m);
  RC_PRE(resistance_ohm.has_value());
  const GeneratorLoad load = generator_load(generator, speed_rad_s, *resistance_ohm);
  RC_ASSERT(std::abs(load.shaft_torque_N_m - torque_N_m) <= 1e-8 * std::abs(torque_N_m));
}

BridgeFault any_fault() {
  return *rc::gen::element(BridgeFault::none, BridgeFault::open_phase, BridgeFault::shorted_diode);
}

/// A DC voltage from the short circuit to beyond what the machine reaches.
double any_voltage_V(const Generator& generator, double speed_rad_s) {
  const double line_V = std::numbers::sqrt3 * generator.pole_pairs * generator.flux_linkage_V_s *
                        std::abs(speed_rad_s);
  return *rc::gen::element(0.0, 1.0) * line_V * spread(1e-3, 1.2);
}

RC_GTEST_PROP(GeneratorOnVoltage, EveryWattIsAccountedForAndFlowsToTheLoad, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = *rc::gen::element(-1, 1) * spread(0.1, 1000.0);
  const double voltage_V = any_voltage_V(generator, speed_rad_s);
  const VoltageLoad result = generator_on_voltage(generator, speed_rad_s, voltage_V, any_fault());
  const GeneratorLoad& load = result.load;
  const double shaft_W = load.shaft_torque_N_m * speed_rad_s;
  const double uses_W = load.dc_power_W + load.rectifier_loss_W + load.winding_loss_W +
                        load.iron_loss_W + load.bearing_loss_W;
  RC_ASSERT(std::abs(shaft_W - uses_W) <= 1e-12 * shaft_W);
  RC_ASSERT(std::abs(load.electromagnetic_power_W - load.winding_loss_W - load.ac_power_W) <=
            1e-12 * load.electromagnetic_power_W);
  RC_ASSERT(std::abs(load.ac_power_W - load.rectifier_loss_W - load.dc_power_W) <=
            1e-12 * load.ac_power_W);
  for (const double power_W : {load.dc_power_W, load.rectifier_loss_W, load.winding_loss_W})
    RC_ASSERT(power_W >= 0.0);
  RC_ASSERT(load.shaft_torque_N_m * speed_rad_s >= 0.0);
}

RC_GTEST_PROP(GeneratorOnVoltage, CurrentAndLineCurrentFallAsTheVoltageRises, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = any_speed_rad_s(generator);
  const double voltage_V = any_voltage_V(generator, speed_rad_s);
  const VoltageLoad low = generator_on_voltage(generator, speed_rad_s, voltage_V);
  const VoltageLoad high = generator_on_voltage(generator, speed_rad_s, voltage_V * 1.01 + 1e-3);
  RC_ASSERT(high.load.dc_current_A <= low.load.dc_current_A);
  RC_ASSERT(high.load.line_current_rms_A <= low.load.line_current_rms_A);
  RC_ASSERT(low.dc_current_slope_S <= 0.0);
}

// Kirchhoff and Joule leave a mean power to each side, whatever the pattern of conduction: a held
// voltage never takes more current than the smooth short circuit of the same phases.
RC_GTEST_PROP(GeneratorOnVoltage, NeverExceedsTheShortCircuit, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = any_speed_rad_s(generator);
  const GeneratorLoad load =
      generator_on_voltage(generator, speed_rad_s, any_voltage_V(generator, speed_rad_s)).load;
  const double impedance_ohm =
      std::hypot(generator.winding_resistance_ohm + generator.diode_resistance_ohm,
                 load.electrical_rad_s * generator.winding_inductance_H);
  RC_ASSERT(load.line_current_rms_A <=
            load.phase_emf_peak_V / impedance_ohm / std::numbers::sqrt2 * (1.0 + 1e-4));
  RC_ASSERT(load.dc_current_A <=
            3.0 / std::numbers::pi * load.phase_emf_peak_V / impedance_ohm * (1.0 + 1e-4));
}

RC_GTEST_PROP(GeneratorOnVoltage, IsANumberAtAnySpeedAndVoltage, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = *rc::gen::element(0.0, 1.0, -1.0) * spread(1e-12, 1e7);
  const double voltage_V = *rc::gen::element(0.0, 1.0) * spread(1e-12, 1e7);
  const BridgeFault fault = any_fault();
  const VoltageLoad result = generator_on_voltage(generator, speed_rad_s, voltage_V, fault);
  RC_ASSERT(std::isfinite(result.load.dc_current_A));
  RC_ASSERT(std::isfinite(result.load.shaft_torque_N_m));
  RC_ASSERT(std::isfinite(result.load.line_current_rms_A));
  RC_ASSERT(std::isfinite(result.dc_current_slope_S));
  if (speed_rad_s == 0.0) RC_ASSERT(result.load.shaft_torque_N_m == 0.0);
}

RC_GTEST_PROP(GeneratorOnVoltage, TheCapacitorsLoadTakesTheCurrent, ()) {
  const Generator generator = any_generator();
  const double speed_rad_s = any_speed_rad_s(generator);
  const double resistance_ohm = spread(1e-2, 1e4);
  const GeneratorLoad load = generator_on_capacitor(generator, speed_rad_s, resistance_ohm).load;
  RC_ASSERT(std::abs(load.dc_voltage_V - resistance_ohm * load.dc_current_A) <=
            1e-9 * load.dc_voltage_V);
}

}  // namespace
}  // namespace windwright::physics
