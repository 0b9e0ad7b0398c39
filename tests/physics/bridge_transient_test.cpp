// SPDX-License-Identifier: Apache-2.0
// The averaged machine and its periodic waveforms against a circuit of diodes stepped through time,
// which knows nothing of modes, periods or arcs.
#include "physics/bridge_transient.h"

#include "bench_generator.h"
#include "physics/bridge_waveform.h"
#include "physics/generator.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr int steps = 2000;  // of one electrical period

struct Means {
  double dc_current_A = 0.0;
  double dc_voltage_V = 0.0;
  double dc_power_W = 0.0;
  double emf_power_W = 0.0;
  double diode_loss_W = 0.0;
  std::array<double, 3> square{};
};

Means last_period(BridgeTransient& transient, const Generator& generator, double speed_rad_s,
                  int periods) {
  const double step_s = 2.0 * pi / (generator.pole_pairs * speed_rad_s * steps);
  Means means;
  std::array<double, 3> before_A{};
  for (int i = 0; i < periods * steps; ++i) {
    const BridgeInstant now = transient.advance(speed_rad_s, step_s);
    const std::array<double, 3> last_A = before_A;
    before_A = now.line_current_A;
    if (i < (periods - 1) * steps) continue;
    // An implicit step itself takes up L (change of current)^2 / 2, which no circuit does.
    for (std::size_t k = 0; k < 3; ++k) {
      const double change_A = now.line_current_A[k] - last_A[k];
      means.emf_power_W -=
          0.5 * generator.winding_inductance_H * change_A * change_A / step_s / steps;
    }
    means.dc_current_A += now.dc_current_A / steps;
    means.dc_voltage_V += now.dc_voltage_V / steps;
    means.dc_power_W += now.dc_voltage_V * now.dc_current_A / steps;
    means.emf_power_W += now.emf_power_W / steps;
    means.diode_loss_W += now.diode_loss_W / steps;
    for (std::size_t k = 0; k < 3; ++k)
      means.square[k] += now.line_current_A[k] * now.line_current_A[k] / steps;
  }
  return means;
}

void expect_half_percent(double measured, double expected, const std::string& at) {
  EXPECT_NEAR(measured, expected, 5e-3 * std::abs(expected)) << at;
}

void expect_same(const Means& means, const GeneratorLoad& load, double speed_rad_s,
                 const std::string& at) {
  expect_half_percent(means.dc_current_A, load.dc_current_A, at + ": current");
  expect_half_percent(means.dc_voltage_V, load.dc_voltage_V, at + ": voltage");
  expect_half_percent(std::sqrt(means.square[0]), load.line_current_rms_A, at + ": rms");
  expect_half_percent(means.diode_loss_W, load.rectifier_loss_W, at + ": rectifier");
  const double shaft_W = means.emf_power_W + load.iron_loss_W + load.bearing_loss_W;
  expect_half_percent(shaft_W / speed_rad_s, load.shaft_torque_N_m, at + ": torque");
}

// Voltage shares of the line EMF and inductances that reach every mode: pulses, pauses with three
// diodes at times, two and three, three always, and the short circuit.
TEST(BridgeTransient, MeetsTheAveragedMachineOnAHeldVoltageInEveryMode) {
  for (const double inductance_H : {0.02e-3, 0.5e-3, 2e-3}) {
    for (const double part : {0.0, 0.3, 0.6, 0.8, 0.9, 0.944, 0.97}) {
      Generator generator = bench_generator();
      generator.winding_inductance_H = inductance_H;
      const double speed_rad_s = 120.0;
      const double line_V = std::numbers::sqrt3 * 6.0 * 0.0165 * speed_rad_s;
      const double voltage_V = std::max(0.0, part * line_V - 1.5);
      const std::string at = std::to_string(inductance_H) + " H, part " + std::to_string(part);
      BridgeTransient transient(generator, {.holds_voltage = true, .voltage_V = voltage_V});
      const Means means = last_period(transient, generator, speed_rad_s, 8);
      expect_same(means, generator_on_voltage(generator, speed_rad_s, voltage_V).load, speed_rad_s,
                  at);
    }
  }
}

TEST(BridgeTransient, MeetsTheAveragedMachineWithFaults) {
  const Generator generator = bench_generator();
  const double speed_rad_s = 120.0;
  for (const BridgeFault fault : {BridgeFault::open_phase, BridgeFault::shorted_diode}) {
    for (const double voltage_V : {0.0, 6.0, 12.0, 16.0}) {
      const std::string at =
          "fault " + std::to_string(static_cast<int>(fault)) + ", " + std::to_string(voltage_V);
      BridgeTransient transient(generator, {.holds_voltage = true, .voltage_V = voltage_V}, fault);
      const Means means = last_period(transient, generator, speed_rad_s, 8);
      const VoltageLoad load = generator_on_voltage(generator, speed_rad_s, voltage_V, fault);
      expect_half_percent(means.dc_current_A, load.load.dc_current_A, at);
      expect_half_percent(means.emf_power_W, load.load.electromagnetic_power_W, at);
      expect_half_percent(means.diode_loss_W, load.load.rectifier_loss_W, at);
      for (std::size_t k = 0; k < 3; ++k)
        expect_half_percent(std::sqrt(means.square[k]), load.line_current_rms_A[k], at);
    }
  }
}

// The smooth-current model's DC side: an inductor whose time constant is twenty periods, run until
// what the start disturbed has died away.
TEST(BridgeTransient, MeetsTheSmoothCurrentModelUpToTheShortCircuit) {
  for (const double inductance_H : {0.02e-3, 0.5e-3, 5e-3}) {
    for (const double resistance_ohm : {0.05, 0.5, 3.0, 10.0, 60.0}) {
      Generator generator = bench_generator();
      generator.winding_inductance_H = inductance_H;
      const double speed_rad_s = 150.0;
      const double period_s = 2.0 * pi / (6.0 * speed_rad_s);
      const double total_ohm = resistance_ohm + 2.0 * generator.winding_resistance_ohm +
                               6.0 * speed_rad_s * inductance_H;
      const GeneratorLoad load = generator_load(generator, speed_rad_s, resistance_ohm);
      BridgeTransient transient(generator, {.inductance_H = 20.0 * period_s * total_ohm,
                                            .resistance_ohm = resistance_ohm});
      transient.set_dc_current_A(load.dc_current_A);
      const Means means = last_period(transient, generator, speed_rad_s, 120);
      expect_same(means, load, speed_rad_s,
                  std::to_string(inductance_H) + " H, " + std::to_string(resistance_ohm) + " ohm");
    }
  }
}

TEST(BridgeTransient, MeetsTheAveragedMachineOnACapacitorWithAResistance) {
  const Generator generator = bench_generator();
  for (const double resistance_ohm : {1.0, 5.0, 40.0}) {
    const double speed_rad_s = 150.0;
    const double period_s = 2.0 * pi / (6.0 * speed_rad_s);
    const VoltageLoad load = generator_on_capacitor(generator, speed_rad_s, resistance_ohm);
    BridgeTransient transient(generator, {.resistance_ohm = resistance_ohm,
                                          .capacitance_F = 30.0 * period_s / resistance_ohm});
    transient.set_capacitor_voltage_V(load.load.dc_voltage_V);
    const Means means = last_period(transient, generator, speed_rad_s, 8);
    expect_same(means, load.load, speed_rad_s, std::to_string(resistance_ohm) + " ohm");
  }
}

// A bare resistor's current ripples with the voltage; its mean still follows the smooth model.
TEST(BridgeTransient, ABareResistorDrawsNearlyTheSmoothCurrent) {
  const Generator generator = bench_generator();
  for (const double resistance_ohm : {5.0, 10.0, 60.0}) {
    BridgeTransient transient(generator, {.resistance_ohm = resistance_ohm});
    const Means means = last_period(transient, generator, 150.0, 6);
    const GeneratorLoad load = generator_load(generator, 150.0, resistance_ohm);
    expect_half_percent(means.dc_current_A, load.dc_current_A, std::to_string(resistance_ohm));
  }
}

// From rest the currents settle into the waveform, sample by sample.
TEST(BridgeTransient, SettlesIntoThePeriodicWaveform) {
  const Generator generator = bench_generator();
  for (const BridgeFault fault :
       {BridgeFault::none, BridgeFault::open_phase, BridgeFault::shorted_diode}) {
    const double speed_rad_s = 120.0;
    const double voltage_V = 12.0;
    BridgeTransient transient(generator, {.holds_voltage = true, .voltage_V = voltage_V}, fault);
    last_period(transient, generator, speed_rad_s, 8);
    const auto waveform = BridgeWaveform::on_voltage(generator, speed_rad_s, voltage_V, fault);
    const double step_s = 2.0 * pi / (6.0 * speed_rad_s * steps);
    double largest_A = 0.0;
    double worst_A = 0.0;
    for (int i = 0; i < steps; ++i) {
      const BridgeInstant now = transient.advance(speed_rad_s, step_s);
      for (std::size_t k = 0; k < 3; ++k) {
        const double current_A = waveform.sample(k, now.electrical_angle_rad).current_A;
        largest_A = std::max(largest_A, std::abs(current_A));
        worst_A = std::max(worst_A, std::abs(current_A - now.line_current_A[k]));
      }
    }
    EXPECT_LT(worst_A, 5e-3 * largest_A) << static_cast<int>(fault);
  }
}

}  // namespace
}  // namespace windwright::physics
