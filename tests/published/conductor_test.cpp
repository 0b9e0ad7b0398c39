// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "physics/rheostat.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <map>
#include <string>

// Sources stand in tests/published/data/conductor_temperature.csv.
namespace windwright::physics {
namespace {

std::map<std::string, double> published() {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/conductor_temperature.csv");
  std::map<std::string, double> values;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    values[std::string(table.text(row, table.required_column("name")))] =
        table.number(row, table.required_column("value"));
  }
  return values;
}

TEST(Conductor, WindingTemperatureFollowsFromItsResistance) {
  auto at = published();
  EXPECT_NEAR(
      copper_winding_temperature_K(at["winding_ratio"], at["winding_cold_C"] + 273.15) - 273.15,
      at["winding_hot_C"], 1e-6);
}

// The coefficient of annealed copper at 20 degC is that of a line to zero resistance at -234.5
// degC, half a kelvin from the winding relation's -235.
TEST(Conductor, CopperCoefficientAgreesWithTheWindingRelation) {
  auto at = published();
  const double ratio = conductor_resistance_ohm(1.0, at["copper_alpha_K1"], 273.15 + 71.0);
  EXPECT_NEAR(ratio, at["winding_ratio"], 5e-4);
}

TEST(Conductor, ResistanceIsLinearAboutTwentyDegrees) {
  auto at = published();
  const double hot_ohm = conductor_resistance_ohm(
      at["tungsten_at_20_C_ohm"], at["tungsten_alpha_K1"], at["tungsten_C"] + 273.15);
  EXPECT_NEAR(hot_ohm, at["tungsten_computed_ohm"], 1e-6);
  EXPECT_NEAR(hot_ohm, at["tungsten_printed_ohm"], 0.05);
}

}  // namespace
}  // namespace windwright::physics
