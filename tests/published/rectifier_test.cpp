// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "physics/bridge_cycle.h"
#include "physics/generator.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <map>
#include <numbers>
#include <string>

// Sources stand in tests/published/data/three_phase_bridge.csv.
namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;

double published(const std::string& name) {
  static const auto values = [] {
    const auto table =
        base::Table::from_file(SOURCE_FOLDER "/tests/published/data/three_phase_bridge.csv");
    std::map<std::string, double> read;
    for (std::size_t row = 0; row < table.rows(); ++row) {
      read[table.text(row, table.required_column("name"))] =
          table.number(row, table.required_column("value"));
    }
    return read;
  }();
  return values.at(name);
}

/// A bridge without any loss, turning so that one radian a second gives 1 V peak of each phase.
Generator ideal_bridge() {
  return {.pole_pairs = 1,
          .flux_linkage_V_s = 1.0,
          .winding_resistance_ohm = 0.0,
          .winding_inductance_H = 0.0,
          .diode_drop_V = 0.0,
          .diode_resistance_ohm = 0.0,
          .bearing_torque_N_m = 0.0,
          .bearing_viscous_N_m_s = 0.0,
          .iron_hysteresis_J = 0.0,
          .iron_eddy_J_s = 0.0,
          .cogging_torque_N_m = 0.0};
}

double speed_of_line_voltage_rad_s(double line_voltage_rms_V) {
  return line_voltage_rms_V * std::numbers::sqrt2 / sqrt3;
}

TEST(Rectifier, IdealBridgeHasTheClosedForms) {
  const double line_voltage_V = 100.0;
  const double phase_voltage_V = line_voltage_V / sqrt3;
  const GeneratorLoad load =
      generator_load(ideal_bridge(), speed_of_line_voltage_rad_s(line_voltage_V), 20.0);
  EXPECT_NEAR(load.dc_voltage_V / line_voltage_V, published("ideal_vdc_over_vll"), 5e-10);
  EXPECT_NEAR(load.dc_voltage_V / phase_voltage_V, published("ideal_vdc_over_vphase"), 5e-10);
  EXPECT_NEAR(load.line_current_rms_A / load.dc_current_A, published("ideal_line_rms_over_idc"),
              5e-11);
  EXPECT_NEAR(load.ac_power_W / (3.0 * phase_voltage_V * load.line_current_rms_A),
              published("ideal_power_factor"), 5e-11);
}

TEST(Rectifier, FeedsTheResistorOfExample3_19) {
  const GeneratorLoad load =
      generator_load(ideal_bridge(), published("example_3_19_line_voltage_peak_V") / sqrt3,
                     published("example_3_19_load_ohm"));
  EXPECT_NEAR(load.dc_voltage_V, published("example_3_19_vdc_V"), 0.01);
  // Each phase current flows through one of two diodes, half the time each. The book lets the
  // current ripple with the voltage, as a bare resistor does; ours is smooth, so its effective
  // values are smaller by the form factor of the ripple.
  const double form_factor = std::sqrt(1.0 + std::pow(published("ideal_ripple_factor"), 2));
  const double diode_rms_A = form_factor * load.line_current_rms_A / std::numbers::sqrt2;
  EXPECT_NEAR(diode_rms_A, published("example_3_19_diode_rms_A"), 1e-3);
  const double apparent_VA =
      form_factor * 3.0 * load.phase_emf_peak_V / std::numbers::sqrt2 * load.line_current_rms_A;
  EXPECT_NEAR(apparent_VA, published("example_3_19_transformer_VA"), 1.0);
}

// The battery is the threshold of the two diodes in series: half of its voltage each.
TEST(Rectifier, ChargesTheBatteryOfExample3_20) {
  Generator bridge = ideal_bridge();
  bridge.diode_drop_V = 0.5 * published("example_3_20_battery_V");
  const double line_voltage_V = published("example_3_20_line_voltage_V");
  const GeneratorLoad load = generator_load(bridge, speed_of_line_voltage_rad_s(line_voltage_V),
                                            published("example_3_20_resistance_ohm"));
  EXPECT_NEAR(load.rectifier_loss_W, published("example_3_20_battery_power_W"), 0.05);
  EXPECT_NEAR(load.ac_power_W, published("example_3_20_load_power_W"), 0.05);
  EXPECT_NEAR(load.ac_power_W / (sqrt3 * line_voltage_V * load.line_current_rms_A),
              published("example_3_20_power_factor"), 5e-4);
}

TEST(Rectifier, LosesTheVoltageOfCommutation) {
  Generator bridge = ideal_bridge();
  const double electrical_rad_s = 2.0 * pi * published("commutation_frequency_Hz");
  const double line_voltage_V = published("commutation_line_voltage_V");
  bridge.flux_linkage_V_s = line_voltage_V * std::numbers::sqrt2 / sqrt3 / electrical_rad_s;
  bridge.winding_inductance_H = published("commutation_inductance_H");
  const double current_A = published("commutation_idc_A");
  const GeneratorLoad load =
      generator_load(bridge, electrical_rad_s, published("commutation_vdc_V") / current_A);
  EXPECT_NEAR(load.dc_current_A, current_A, 1e-7);
  EXPECT_NEAR(load.dc_voltage_V, published("commutation_vdc_V"), 5e-7);
  const double cosine = 1.0 - 2.0 * electrical_rad_s * bridge.winding_inductance_H * current_A /
                                  (std::numbers::sqrt2 * line_voltage_V);
  EXPECT_NEAR(std::cos(load.overlap_rad), cosine, 1e-8);
}

TEST(Rectifier, PassesThroughTheEndsOfItsModesOfCommutation) {
  Generator bridge = ideal_bridge();
  bridge.winding_inductance_H = 0.2;
  const double speed_rad_s = 50.0;
  const double no_load_V = 3.0 * sqrt3 / pi * speed_rad_s;
  const double unit_A = sqrt3 * speed_rad_s / (2.0 * speed_rad_s * 0.2);
  for (const std::string mode : {"mode_1_end_", "mode_2_end_"}) {
    const double current_A = published(mode + "current") * unit_A;
    const double voltage_V = published(mode + "voltage") * no_load_V;
    const GeneratorLoad load = generator_load(bridge, speed_rad_s, voltage_V / current_A);
    EXPECT_NEAR(load.dc_current_A / unit_A, published(mode + "current"), 1e-7) << mode;
    EXPECT_NEAR(load.dc_voltage_V / no_load_V, published(mode + "voltage"), 1e-7) << mode;
    EXPECT_NEAR(load.overlap_rad, pi / 3.0, 1e-6) << mode;
  }
  // At the short circuit the machine carries its symmetrical short-circuit current.
  const GeneratorLoad shorted = generator_load(bridge, speed_rad_s, 1e-9);
  EXPECT_NEAR(shorted.dc_current_A / unit_A, published("mode_3_end_current"), 1e-7);
  EXPECT_NEAR(shorted.line_current_rms_A, 1.0 / 0.2 / std::numbers::sqrt2, 1e-6);
}

// Single-phase charging of a battery through a resistance, as with one phase open: two lines and
// four diodes. Bimbhra, example 3.9, is the half-wave case (230 V, 150 V, 8 ohm): a full wave has
// twice its pulses, the same peak.
TEST(Rectifier, ChargesTheBatteryOfExample3_9ThroughTwoLines) {
  BridgeCircuit circuit{.emf_peak_V = 230.0 * std::numbers::sqrt2 / sqrt3,
                        .resistance_ohm = 4.0,  // twice in the loop
                        .reactance_ohm = 0.0,
                        .dc_voltage_V = published("example_3_9_battery_V"),
                        .diode_drop_V = 0.0,
                        .fault = BridgeFault::open_phase};
  const BridgeCycle cycle = bridge_cycle(circuit);
  EXPECT_NEAR(cycle.dc_current_A, 2.0 * published("example_3_9_idc_A"), 2e-6);
  const double rms_A = std::numbers::sqrt2 * published("example_3_9_rms_A");
  EXPECT_NEAR(cycle.line_current_rms_A[1], rms_A, 2e-6);
  EXPECT_NEAR(circuit.dc_voltage_V * cycle.dc_current_A,
              2.0 * published("example_3_9_battery_power_W"), 2e-4);
  EXPECT_NEAR(8.0 * rms_A * rms_A, 2.0 * published("example_3_9_resistor_power_W"), 2e-4);
  EXPECT_NEAR(cycle.electromagnetic_W / (230.0 * rms_A),
              std::numbers::sqrt2 * published("example_3_9_power_factor"), 2e-5);
}

// A single-phase full-wave bridge, ripple-free current, is what an open phase leaves; a large
// capacitor without load charges to the peak of the line voltage.
TEST(Rectifier, AnUnloadedCapacitorChargesToThePeakOfTheLineVoltage) {
  Generator bridge = ideal_bridge();
  bridge.winding_resistance_ohm = 1.0;
  const VoltageLoad open =
      generator_on_capacitor(bridge, 10.0, std::numeric_limits<double>::infinity());
  EXPECT_NEAR(open.load.dc_voltage_V, sqrt3 * 10.0, 1e-12);
  EXPECT_EQ(open.load.dc_current_A, 0.0);
}

// With a little reactance and a heavier one the smooth-current bridge keeps the drop of commutation
// 3 omega L Id / pi, resistance or not, as far as resistance is small against reactance.
TEST(Rectifier, KeepsTheDropOfCommutationBesideALittleResistance) {
  const double voltage_V = 3.0 * sqrt3 / pi;
  for (const double current_A : {0.05, 0.2, 0.4}) {
    const SmoothBridge bridge{
        .emf_peak_V = 1.0, .resistance_ohm = 1e-6, .reactance_ohm = 1.0, .dc_current_A = current_A};
    EXPECT_NEAR(smooth_bridge_means(bridge).bridge_voltage_V, voltage_V - 3.0 / pi * current_A,
                5e-6);
  }
}

}  // namespace
}  // namespace windwright::physics
