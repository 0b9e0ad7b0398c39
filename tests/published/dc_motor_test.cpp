// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "physics/motor.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <map>
#include <numbers>
#include <string>

// A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, 6th ed., example 7.9; sources in
// tests/published/data/dc_machine.csv.
namespace windwright::physics {
namespace {

std::map<std::string, double> published() {
  const auto table = base::Table::from_file(SOURCE_FOLDER "/tests/published/data/dc_machine.csv");
  std::map<std::string, double> values;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    values[std::string(table.text(row, table.required_column("name")))] =
        table.number(row, table.required_column("value"));
  }
  return values;
}

double rad_s(double rpm) {
  return rpm * std::numbers::pi / 30.0;
}

DcMotor motor_with(double constant_V_s, double winding_ohm, double loss_W, double speed_rad_s) {
  return {
      .constant_V_s = constant_V_s,
      .winding_ohm = winding_ohm,
      .brush_drop_V = 0.0,
      .shaft = {.inertia_kg_m2 = 1e-3, .friction_N_m = loss_W / speed_rad_s, .driven_N_m_s2 = 0.0}};
}

TEST(DcMotor, DeliversThePowerOfTheExample) {
  auto at = published();
  const double speed_rad_s = rad_s(at["motor_rpm"]);
  const DcMotor motor = motor_with(at["torque_constant_V_s"], at["armature_ohm"],
                                   at["unrounded_rotational_loss_W"], speed_rad_s);
  const DcFlow flow = motor_dc_flow(motor, speed_rad_s, at["motor_V"]);
  EXPECT_NEAR(flow.current_A, at["motor_current_A"], 1e-7 * at["motor_current_A"] + 5e-7);
  EXPECT_NEAR(motor.constant_V_s * speed_rad_s * flow.current_A, at["motor_electromagnetic_W"],
              1e-7 * 335.9389 + 5e-5);
  // Nothing is driven, so what the shaft would give speeds it up.
  EXPECT_NEAR(flow.power.stored_W, at["motor_shaft_W"], 1e-7 * 275.0483 + 5e-5);
}

TEST(DcMotor, RunsLightAtTheCurrentAndSpeedOfTheNoLoadTest) {
  auto at = published();
  const double speed_rad_s = rad_s(at["no_load_rpm"]);
  const DcMotor motor = motor_with(at["unrounded_torque_constant_V_s"], at["armature_ohm"],
                                   at["unrounded_rotational_loss_W"], speed_rad_s);
  const double settled_rad_s = settled_speed_rad_s(motor, at["no_load_V"]);
  EXPECT_NEAR(settled_rad_s / speed_rad_s, 1.0, 1e-7);
  const DcFlow flow = motor_dc_flow(motor, settled_rad_s, at["no_load_V"]);
  EXPECT_NEAR(flow.current_A, at["no_load_A"], 1e-7);
  EXPECT_NEAR(flow.power.heat_W, 50.0 * 1.25, 1e-5);
}

}  // namespace
}  // namespace windwright::physics
