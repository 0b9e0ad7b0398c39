// SPDX-License-Identifier: Apache-2.0
#include "physics/loads.h"

#include "physics/lamp.h"

#include <gtest/gtest.h>

#include <cmath>

namespace windwright::physics {
namespace {

Loads bench_loads() {
  return {.rheostat_lowest_ohm = 2.0,
          .rheostat_highest_ohm = 100.0,
          .lamps = 2,
          .lamp_rated_voltage_V = 24.0,
          .lamp_rated_power_W = 20.0,
          .lamp_rated_temperature_K = 2700.0,
          .lamp_heat_capacity_J_K = 2e-3};
}

TEST(Loads, LampDrawsItsRatedPowerAtRatedVoltageAndKeepsItsTemperature) {
  const Loads loads = bench_loads();
  const double resistance_ohm = lamp_resistance_ohm(loads, 2700.0);
  EXPECT_NEAR(24.0 * 24.0 / resistance_ohm, 20.0, 1e-12);
  EXPECT_NEAR(lamp_heating_K_s(loads, 2700.0, 20.0, 298.15), 0.0, 1e-9);
}

TEST(Loads, LampFindsTheSameTemperatureFromBothSides) {
  const Loads loads = bench_loads();
  EXPECT_GT(lamp_heating_K_s(loads, 2690.0, 20.0, 298.15), 0.0);
  EXPECT_LT(lamp_heating_K_s(loads, 2710.0, 20.0, 298.15), 0.0);
  EXPECT_EQ(lamp_heating_K_s(loads, 291.0, 0.0, 291.0), 0.0);
  EXPECT_LT(lamp_heating_K_s(loads, 300.0, 0.0, 291.0), 0.0);
}

TEST(Loads, LampLosesHeatByConductionWhereItIsTooColdToRadiate) {
  const Loads loads = bench_loads();
  // 5 % of 20 W over 2401.85 K by conduction, and 95 % of 20 W times 4 T^3 / T_rated^4 by
  // radiation.
  const double per_kelvin_W =
      -lamp_heating_K_s(loads, 299.15, 0.0, 298.15) * loads.lamp_heat_capacity_J_K;
  EXPECT_NEAR(per_kelvin_W, 4.164e-4 + 0.379e-4, 0.005e-4);
}

TEST(Loads, SelectorPutsConductancesInParallel) {
  const Loads loads = bench_loads();
  const double lamp_ohm = lamp_resistance_ohm(loads, 1500.0);
  EXPECT_TRUE(std::isinf(load_resistance_ohm(loads, LoadSelection::none, 10.0, 1500.0)));
  EXPECT_DOUBLE_EQ(load_resistance_ohm(loads, LoadSelection::rheostat, 10.0, 1500.0), 10.0);
  EXPECT_DOUBLE_EQ(load_resistance_ohm(loads, LoadSelection::lamps, 10.0, 1500.0), lamp_ohm / 2);
  EXPECT_DOUBLE_EQ(
      1.0 / load_resistance_ohm(loads, LoadSelection::rheostat_and_lamps, 10.0, 1500.0),
      0.1 + 2.0 / lamp_ohm);
}

TEST(Loads, WiperStopsAtTheEndsOfTheRheostat) {
  const Loads loads = bench_loads();
  EXPECT_DOUBLE_EQ(load_resistance_ohm(loads, LoadSelection::rheostat, 0.0, 300.0), 2.0);
  EXPECT_DOUBLE_EQ(load_resistance_ohm(loads, LoadSelection::rheostat, 1e3, 300.0), 100.0);
}

TEST(Loads, ABenchWithoutLampsHasNoLampLoad) {
  Loads loads = bench_loads();
  loads.lamps = 0;
  EXPECT_TRUE(std::isinf(load_resistance_ohm(loads, LoadSelection::lamps, 10.0, 300.0)));
  EXPECT_DOUBLE_EQ(load_resistance_ohm(loads, LoadSelection::rheostat_and_lamps, 10.0, 300.0),
                   10.0);
}

TEST(Loads, TungstenResistivityRisesOverTheWholeRange) {
  double before = 0.0;
  for (double temperature_K = 200.0; temperature_K <= 3690.0; temperature_K += 10.0) {
    const double ratio = tungsten_resistivity_ratio(temperature_K);
    EXPECT_GT(ratio, before) << temperature_K;
    before = ratio;
  }
  EXPECT_EQ(tungsten_resistivity_ratio(0.0), tungsten_resistivity_ratio(200.0));
}

}  // namespace
}  // namespace windwright::physics
