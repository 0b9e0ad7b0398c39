// SPDX-License-Identifier: Apache-2.0
#include "physics/lamp.h"

#include "base/table.h"
#include "physics/loads.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

namespace windwright::physics {
namespace {

// W. E. Forsythe and A. G. Worthing, Astrophys. J. 61 (1925) 146. Tolerance: what the formula
// states, 0.1 % from 900 K on and 0.3 % below, where the table is not smooth; its digits alone
// allow 0.09 %.
TEST(Lamp, ResistivityOfTungstenFollowsForsytheAndWorthing) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/tungsten_resistivity.csv");
  const std::size_t temperature = table.required_column("T_K");
  const std::size_t resistivity = table.required_column("rho_uohm_cm");
  const double at_300_K = table.number(0, resistivity);
  ASSERT_EQ(table.number(0, temperature), 300.0);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double temperature_K = table.number(row, temperature);
    const double printed = table.number(row, resistivity) / at_300_K;
    EXPECT_NEAR(tungsten_resistivity_ratio(temperature_K) / printed, 1.0,
                temperature_K < 1000.0 ? 3e-3 : 1.2e-3)
        << temperature_K;
  }
}

double settled_temperature_K(const Loads& loads, double voltage_V) {
  double low_K = 298.15;
  double high_K = 3600.0;
  for (int i = 0; i < 60; ++i) {
    const double middle_K = 0.5 * (low_K + high_K);
    const double fed_W = voltage_V * voltage_V / lamp_resistance_ohm(loads, middle_K);
    (lamp_heating_K_s(loads, middle_K, fed_W, 298.15) > 0.0 ? low_K : high_K) = middle_K;
  }
  return low_K;
}

// D. G. Fink and H. W. Beaty, Standard Handbook for Electrical Engineers, 11th ed. (1978), p. 22-8
// (as quoted in the encyclopedia article "Lamp rerating"): near the rated voltage V, current goes
// with V^0.55, power with V^1.6 and colour temperature with V^0.42, a little different with the
// lamp. Tolerance: half a unit of the coarsest printed digit, 0.05.
TEST(Lamp, CurrentAndTemperatureFollowTheVoltageAsLampsDo) {
  const Loads loads{.rheostat_lowest_ohm = 1.0,
                    .rheostat_highest_ohm = 100.0,
                    .lamps = 1,
                    .lamp_rated_voltage_V = 24.0,
                    .lamp_rated_power_W = 20.0,
                    .lamp_rated_temperature_K = 2600.0,
                    .lamp_heat_capacity_J_K = 0.004};
  const double low_K = settled_temperature_K(loads, 0.9 * 24.0);
  const double high_K = settled_temperature_K(loads, 1.1 * 24.0);
  const double voltage_step = std::log(1.1 / 0.9);
  const double current_exponent =
      1.0 - std::log(lamp_resistance_ohm(loads, high_K) / lamp_resistance_ohm(loads, low_K)) /
                voltage_step;
  EXPECT_NEAR(current_exponent, 0.55, 0.05);
  EXPECT_NEAR(std::log(high_K / low_K) / voltage_step, 0.42, 0.05);
}

}  // namespace
}  // namespace windwright::physics
