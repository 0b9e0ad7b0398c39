// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"

#include "base/table.h"

#include <gtest/gtest.h>

#include <limits>
#include <map>
#include <numbers>
#include <string>

// Sources stand in tests/published/data/dc_machine.csv.
namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

std::map<std::string, double> published() {
  const auto table = base::Table::from_file(SOURCE_FOLDER "/tests/published/data/dc_machine.csv");
  std::map<std::string, double> values;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    values[table.text(row, table.required_column("name"))] =
        table.number(row, table.required_column("value"));
  }
  return values;
}

double rad_s(double rpm) {
  return rpm * pi / 30.0;
}

/// Behind an ideal bridge, with smooth current, the machine is a DC machine with torque constant
/// 3 sqrt3 / pi pole_pairs flux_linkage. Its armature resistance stands behind the bridge, with the
/// load: in the phases it would also share the current out while it passes from one to the next,
/// which brushes do not.
Generator machine_of_the_example() {
  auto at = published();
  const double emf_V = at["no_load_V"] - at["no_load_A"] * at["armature_ohm"];
  const double torque_constant_V_s = emf_V / rad_s(at["no_load_rpm"]);
  return {.pole_pairs = 4,
          .flux_linkage_V_s = torque_constant_V_s * pi / (3.0 * std::numbers::sqrt3 * 4.0),
          .winding_resistance_ohm = 0.0,
          .winding_inductance_H = 0.0,
          .diode_drop_V = 0.0,
          .diode_resistance_ohm = 0.0,
          .bearing_torque_N_m = emf_V * at["no_load_A"] / rad_s(at["generator_rpm"]),
          .bearing_viscous_N_m_s = 0.0,
          .iron_hysteresis_J = 0.0,
          .iron_eddy_J_s = 0.0,
          .cogging_torque_N_m = 0.0};
}

TEST(GeneratorAsDcMachine, HasTheTorqueConstantAndLossOfTheNoLoadTest) {
  auto at = published();
  const double speed_rad_s = rad_s(at["generator_rpm"]);
  const GeneratorLoad open = generator_load(machine_of_the_example(), speed_rad_s,
                                            std::numeric_limits<double>::infinity());
  EXPECT_NEAR(open.dc_voltage_V / speed_rad_s, at["torque_constant_V_s"], 0.005);
  EXPECT_NEAR(open.shaft_torque_N_m * speed_rad_s, at["rotational_loss_W"], 0.5);
}

TEST(GeneratorAsDcMachine, DeliversWhatTheDcMachineWould) {
  auto at = published();
  const double speed_rad_s = rad_s(at["generator_rpm"]);
  const GeneratorLoad load = generator_load(machine_of_the_example(), speed_rad_s,
                                            at["generator_load_ohm"] + at["armature_ohm"]);
  const double current_A = load.dc_current_A;
  EXPECT_NEAR(current_A, at["generator_current_A"], 5e-8);
  EXPECT_NEAR(load.dc_voltage_V - at["armature_ohm"] * current_A, at["generator_voltage_V"], 5e-7);
  EXPECT_NEAR(load.dc_power_W - at["armature_ohm"] * current_A * current_A,
              at["generator_output_W"], 5e-6);
  EXPECT_NEAR(load.shaft_torque_N_m * speed_rad_s, at["generator_shaft_W"], 5e-6);
}

}  // namespace
}  // namespace windwright::physics
