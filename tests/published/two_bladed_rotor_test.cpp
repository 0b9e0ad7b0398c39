// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "bench/rotor_file.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>

// Measured: NREL/NASA-Ames Unsteady Aerodynamics Experiment Phase VI, sequence H, record means; US
// DOE Wind Data Hub, DOI 10.21947/WDH-DAP/1910052; test in Hand et al., NREL/TP-500-29955 (2001).
// Geometry and polar of examples/two-bladed-rotor come from the same report; its head says how the
// pitch is referred. Nineteen codes in the blind comparison of 2001 (NREL/TP-500-29494) gave 25 %
// to 175 % of the measured power unstalled, 30 % to 275 % stalled.
namespace windwright::physics {
namespace {

struct Ratios {
  double torque;
  double power;
  double thrust;
};

constexpr double open_air = 0.0;
constexpr double section_area_m2 = 24.4 * 36.6;

Ratios calculated_over_measured(std::size_t row, bool augmentation, double area_m2 = open_air) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/phase6_measured_sequence_h.csv");
  const auto value = [&](const char* column) {
    return table.number(row, table.required_column(column));
  };
  const auto rotor = bench::rotor_from_file(SOURCE_FOLDER "/examples/two-bladed-rotor/rotor.toml");
  const RotorFlow flow{.air_speed_m_s = value("wind_speed_m_s"),
                       .rotor_speed_rad_s = value("rotor_speed_rpm") * std::numbers::pi / 30.0,
                       .density_kg_m3 = value("rho_kg_m3"),
                       .dynamic_viscosity_Pa_s = 1.78e-5};
  const RotorOptions options{.rotational_augmentation = augmentation};
  const auto load = area_m2 == open_air ? rotor_load(rotor, flow, options)
                                        : rotor_load_in_tunnel(rotor, flow, area_m2, options);
  EXPECT_EQ(load.unconverged_elements, 0);
  EXPECT_NEAR(load.tip_speed_ratio, value("tip_speed_ratio"), 1e-3);
  return {load.torque_N_m / value("rotor_torque_N_m"), load.power_W / value("rotor_power_W"),
          load.thrust_N / value("thrust_N")};
}

TEST(PublishedTwoBladedRotor, AttachedFlowAtSevenMetresASecondIsMetWithinTenPercent) {
  for (const bool augmentation : {false, true}) {
    const auto ratio = calculated_over_measured(0, augmentation);
    EXPECT_NEAR(ratio.torque, 1.0, 0.1);
    EXPECT_NEAR(ratio.power, 1.0, 0.1);
    EXPECT_NEAR(ratio.thrust, 1.0, 0.1);
    // The rotor fills 8.9 % of the section.
    const auto between_walls = calculated_over_measured(0, augmentation, section_area_m2);
    EXPECT_NEAR(between_walls.torque, 1.0, 0.1);
    EXPECT_NEAR(between_walls.power, 1.0, 0.1);
    EXPECT_NEAR(between_walls.thrust, 1.0, 0.1);
    EXPECT_GT(between_walls.power, ratio.power);
    EXPECT_GT(between_walls.thrust, ratio.thrust);
  }
}

// A rotating blade stalls later than the section in the wind tunnel, so a calculation with that
// section's polar must come out low; one that meets these figures has a mistake elsewhere.
TEST(PublishedTwoBladedRotor, StalledFlowComesOutLowWithATwoDimensionalPolar) {
  for (const std::size_t row : {1U, 2U}) {
    const auto ratio = calculated_over_measured(row, false);
    EXPECT_LT(ratio.torque, 0.95) << row;
    EXPECT_GT(ratio.torque, 0.1) << row;
    EXPECT_LT(ratio.thrust, 0.95) << row;
    EXPECT_GT(ratio.thrust, 0.5) << row;
  }
}

TEST(PublishedTwoBladedRotor, RotationalAugmentationBringsStalledFlowNearer) {
  for (const std::size_t row : {1U, 2U}) {
    const auto plain = calculated_over_measured(row, false);
    const auto augmented = calculated_over_measured(row, true);
    RecordProperty("torque_" + std::to_string(row), std::to_string(augmented.torque));
    EXPECT_LT(std::abs(augmented.torque - 1.0), std::abs(plain.torque - 1.0)) << row;
    EXPECT_LT(std::abs(augmented.power - 1.0), std::abs(plain.power - 1.0)) << row;
    EXPECT_LT(std::abs(augmented.thrust - 1.0), std::abs(plain.thrust - 1.0)) << row;
  }
}

}  // namespace
}  // namespace windwright::physics
