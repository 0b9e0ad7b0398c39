// SPDX-License-Identifier: Apache-2.0
#include "physics/air.h"

#include "base/table.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <string>

namespace windwright::physics {
namespace {

const std::string data = SOURCE_FOLDER "/tests/published/data/";

// Picard, Davis, Glaeser, Fujii, Revised formula for the density of moist air (CIPM-2007),
// Metrologia 45 (2008) 149-155: the equation evaluated independently at 80 states; 8 digits are
// printed.
TEST(PublishedAir, DensityFollowsCipm2007) {
  const auto table = base::Table::from_file(data + "air_density_cipm2007.csv");
  const auto t = table.required_column("t_degC");
  const auto p = table.required_column("p_Pa");
  const auto h = table.required_column("relative_humidity");
  const auto rho = table.required_column("rho_kg_m3");
  const auto x = table.required_column("x_v");
  ASSERT_EQ(table.rows(), 70U);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const Air air{.temperature_K = table.number(row, t) + 273.15,
                  .pressure_Pa = table.number(row, p),
                  .relative_humidity = table.number(row, h)};
    EXPECT_NEAR(density_kg_m3(air) / table.number(row, rho), 1.0, 1e-7) << table.place(row);
    EXPECT_NEAR(water_vapour_mole_fraction(air), table.number(row, x), 1e-9) << table.place(row);
  }
}

// Printed values of a mass-metrology handbook and of NIST IR 6969, SOP 2, appendix B, examples 1
// and
// 3. They come from older equations, which lie up to 6e-5 from CIPM-2007.
TEST(PublishedAir, DensityAgreesWithPrintedHandbookValues) {
  const auto table = base::Table::from_file(data + "air_density_published_points.csv");
  const auto t = table.required_column("t_degC");
  const auto p = table.required_column("p_mmHg");
  const auto h = table.required_column("relative_humidity_pct");
  const auto rho = table.required_column("rho_published_kg_m3");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const Air air{.temperature_K = table.number(row, t) + 273.15,
                  .pressure_Pa = table.number(row, p) * 101325.0 / 760.0,
                  .relative_humidity = 0.01 * table.number(row, h)};
    EXPECT_NEAR(density_kg_m3(air) / table.number(row, rho), 1.0, 7e-5) << table.place(row);
  }
}

// U.S. Standard Atmosphere 1976, equation 51 with its constants, evaluated at nine temperatures; 6
// digits are printed.
TEST(PublishedAir, ViscosityFollowsSutherland) {
  const auto table = base::Table::from_file(data + "air_viscosity_sutherland.csv");
  const auto t = table.required_column("t_degC");
  const auto mu = table.required_column("mu_US1976");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const Air air{.temperature_K = table.number(row, t) + 273.15,
                  .pressure_Pa = 101325.0,
                  .relative_humidity = 0.5};
    EXPECT_NEAR(dynamic_viscosity_Pa_s(air) / table.number(row, mu), 1.0, 1e-5) << table.place(row);
  }
}

// U.S. Standard Atmosphere 1976, table I, sea level: 15 degC, 1013.25 hPa, dry: 1.2250 kg/m3 and
// 340.294 m/s, from a perfect gas with 1.4 as ratio of the specific heats. Real air differs from
// that by a few parts in 1e4 in both.
TEST(PublishedAir, StandardAirHasTheStandardAtmospheresDensityAndSpeedOfSound) {
  const Air air{.temperature_K = standard_temperature_K,
                .pressure_Pa = standard_pressure_Pa,
                .relative_humidity = 0.0};
  EXPECT_EQ(standard_density_kg_m3, 1.2250);
  EXPECT_NEAR(density_kg_m3(air) / 1.2250, 1.0, 5e-4);
  EXPECT_NEAR(speed_of_sound_m_s(air) / 340.294, 1.0, 5e-4);
}

// Wong and Embleton, Variation of the speed of sound in air with humidity and temperature, J.
// Acoust. Soc. Am. 77 (1985) 1710-1712: saturated air at 20 degC carries sound about 0.36 % faster
// than dry air (from memory), 30 degC up to about 0.65 %.
TEST(PublishedAir, MoistureSpeedsUpSound) {
  const auto gain = [](double temperature_K) {
    const Air dry{
        .temperature_K = temperature_K, .pressure_Pa = 101325.0, .relative_humidity = 0.0};
    Air wet = dry;
    wet.relative_humidity = 1.0;
    return speed_of_sound_m_s(wet) / speed_of_sound_m_s(dry) - 1.0;
  };
  EXPECT_NEAR(gain(293.15), 0.0036, 0.0004);
  EXPECT_NEAR(gain(303.15), 0.0065, 0.0008);
}

}  // namespace
}  // namespace windwright::physics
