// SPDX-License-Identifier: Apache-2.0
#include "physics/generator_heat.h"

#include "base/errors.h"

#include <gtest/gtest.h>

namespace windwright::physics {
namespace {

Generator machine() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.5e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.006,
          .bearing_viscous_N_m_s = 1e-5,
          .iron_hysteresis_J = 2.5e-4,
          .iron_eddy_J_s = 1.5e-6,
          .cogging_torque_N_m = 0.015};
}

GeneratorHeat small_machine() {
  return {.zero_resistance_C = 235.0,
          .magnet_flux_K1 = -0.002,
          .winding_heat_J_K = 150.0,
          .frame_heat_J_K = 900.0,
          .winding_to_frame_W_K = 1.2,
          .frame_to_air_W_K = 0.8};
}

constexpr double kelvin(double celsius_C) {
  return celsius_C + 273.15;
}

// IEC 60034-1: R2 / R1 = (235 + t2) / (235 + t1) for copper, 225 for aluminium. A copper winding
// whose resistance has risen by a fifth from 20 degC is at 71 degC (computed from that form).
TEST(GeneratorHeat, CopperWindingAtTwelveTenthsOfItsResistanceIsAt71Degrees) {
  const Generator warm = generator_at(machine(), small_machine(), {kelvin(71.0), kelvin(20.0)});
  EXPECT_NEAR(warm.winding_resistance_ohm / machine().winding_resistance_ohm, 1.2, 1e-12);
  EXPECT_EQ(warm.flux_linkage_V_s, machine().flux_linkage_V_s);
}

// IEC 60028: annealed copper, 0.00393 per kelvin at 20 degC, zero at -234.5 degC; IEC 60034's round
// 235 is 0.2 % of the coefficient away. Aluminium 0.00403 at 20 degC; 225 gives 0.00408.
TEST(GeneratorHeat, AgreesWithTheTemperatureCoefficientsOfCopperAndAluminium) {
  GeneratorHeat heat = small_machine();
  const auto coefficient = [&] {
    const Generator warm = generator_at(machine(), heat, {kelvin(21.0), kelvin(20.0)});
    return warm.winding_resistance_ohm / machine().winding_resistance_ohm - 1.0;
  };
  EXPECT_NEAR(coefficient(), 0.00393, 0.00393 * 3e-3);
  heat.zero_resistance_C = 225.0;
  EXPECT_NEAR(coefficient(), 0.00403, 0.00403 * 2e-2);
}

TEST(GeneratorHeat, WithoutCoefficientsNothingChanges) {
  const Generator same = generator_at(machine(), {}, {kelvin(150.0), kelvin(90.0)});
  EXPECT_EQ(same.winding_resistance_ohm, machine().winding_resistance_ohm);
  EXPECT_EQ(same.flux_linkage_V_s, machine().flux_linkage_V_s);
  const GeneratorLoad load = generator_load(machine(), 150.0, 5.0);
  const HeatStep step = heat_step({}, {kelvin(20.0), kelvin(20.0)}, load, kelvin(20.0), 3600.0);
  EXPECT_EQ(step.end.winding_K, kelvin(20.0));
  EXPECT_EQ(step.end.frame_K, kelvin(20.0));
}

TEST(GeneratorHeat, SettlesWhereAllHeatGoesThroughBothResistancesToTheAir) {
  const GeneratorLoad load = generator_load(machine(), 150.0, 5.0);
  const GeneratorHeat heat = small_machine();
  const HeatStep step = heat_step(heat, {kelvin(20.0), kelvin(20.0)}, load, kelvin(20.0), 1e6);
  const double losses_W = load.winding_loss_W + load.iron_loss_W + load.bearing_loss_W;
  EXPECT_NEAR(step.end.frame_K, kelvin(20.0) + losses_W / 0.8, 1e-9);
  EXPECT_NEAR(step.end.winding_K - step.end.frame_K, load.winding_loss_W / 1.2, 1e-9);
}

// The exact step against many small ones of the rates, and the heat given off against the
// conductance times the temperature over the air, summed along the way.
TEST(GeneratorHeat, StepIsTheIntegralOfTheRatesAndItsEnergyCloses) {
  const GeneratorLoad load = generator_load(machine(), 150.0, 5.0);
  const GeneratorHeat heat = small_machine();
  const MachineTemperature start{kelvin(60.0), kelvin(30.0)};
  MachineTemperature now = start;
  double to_air_J = 0.0;
  constexpr int steps = 200000;
  constexpr double duration_s = 1800.0;
  for (int i = 0; i < steps; ++i) {
    const double dt = duration_s / steps;
    const HeatFlow flow = heat_flow(heat, now, load, kelvin(20.0));
    const HeatFlow middle = heat_flow(heat,
                                      {now.winding_K + 0.5 * dt * flow.winding_rate_K_s,
                                       now.frame_K + 0.5 * dt * flow.frame_rate_K_s},
                                      load, kelvin(20.0));
    const double losses_W = load.winding_loss_W + load.iron_loss_W + load.bearing_loss_W;
    ASSERT_NEAR(flow.winding_W + flow.frame_W + flow.to_air_W, losses_W, 1e-12 * losses_W);
    now.winding_K += dt * middle.winding_rate_K_s;
    now.frame_K += dt * middle.frame_rate_K_s;
    to_air_J += dt * middle.to_air_W;
  }
  const HeatStep step = heat_step(heat, start, load, kelvin(20.0), duration_s);
  EXPECT_NEAR(step.end.winding_K, now.winding_K, 1e-6);
  EXPECT_NEAR(step.end.frame_K, now.frame_K, 1e-6);
  EXPECT_NEAR(step.to_air_J, to_air_J, 1e-6 * to_air_J);
  EXPECT_NEAR(step.stored_J,
              150.0 * (now.winding_K - start.winding_K) + 900.0 * (now.frame_K - start.frame_K),
              1e-5 * to_air_J);
}

TEST(GeneratorHeat, RefusesWhatCannotBe) {
  const GeneratorHeat heat = small_machine();
  EXPECT_THROW(generator_at(machine(), heat, {10.0, kelvin(20.0)}), base::BadInput);
  EXPECT_THROW(generator_at(machine(), heat, {kelvin(20.0), kelvin(600.0)}), base::BadInput);
  EXPECT_THROW(heat_step(heat, {300.0, 300.0}, {}, 290.0, -1.0), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
