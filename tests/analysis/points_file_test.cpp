// SPDX-License-Identifier: Apache-2.0
#include "analysis/points.h"
#include "base/errors.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();

// What a run gives: systematic inputs shared by columns and rows, random ones of the row.
std::vector<Point> points_with_inputs() {
  std::vector<Point> points;
  for (int number = 1; number <= 3; ++number) {
    Point point;
    point.number = number;
    point.blade_count = 3;
    point.pitch_deg = 2.5;
    point.settled = number != 2;
    point.block_settings["fan_pct"] = 80.0;
    point.settings["rheostat_ohm"] = 1.0 / (2.0 + number);
    if (number == 3) point.beyond_certificate = {"air_speed_m_s", "dc_current_A"};
    const std::string row = "#" + std::to_string(number);
    const double v = 7.1 + 0.1 * number;
    point.quantities.emplace("air_speed_m_s",
                             Estimate(v, {{"air_speed_m_s:standard", {0.07, infinity}},
                                          {"air_speed_m_s:calibration-0", {-0.01 / 3.0, 9.0}},
                                          {"random-0" + row, {0.02, 40.0 + number}}}));
    point.quantities.emplace("rotor_speed_rad_s",
                             Estimate(100.0 / number, {{"random-0" + row, {0.1, 40.0 + number}},
                                                       {"random-1" + row, {-0.3, 40.0 + number}}}));
    point.quantities.emplace("air_density_kg_m3", Estimate(1.19));
    point.quantities.emplace("dc_power_W",
                             Estimate(10.0 + number, {{"dc_voltage_V:standard", {0.03, infinity}},
                                                      {"random-1" + row, {0.2, 40.0 + number}}}));
    points.push_back(point);
  }
  return points;
}

TEST(PointsFile, GivesBackEveryBitOfAPoint) {
  const auto points = points_with_inputs();
  const std::string text = points_csv(points, "a made-up run");
  const auto back = points_from_text(text, "points.csv");
  ASSERT_EQ(back.size(), points.size());
  for (std::size_t i = 0; i < points.size(); ++i) {
    EXPECT_EQ(back[i].number, points[i].number);
    EXPECT_EQ(back[i].blade_count, points[i].blade_count);
    EXPECT_EQ(back[i].pitch_deg, points[i].pitch_deg);
    EXPECT_EQ(back[i].settled, points[i].settled);
    EXPECT_EQ(back[i].settings, points[i].settings);
    EXPECT_EQ(back[i].block_settings, points[i].block_settings);
    EXPECT_EQ(back[i].beyond_certificate, points[i].beyond_certificate);
    ASSERT_EQ(back[i].quantities.size(), points[i].quantities.size());
    for (const auto& [name, estimate] : points[i].quantities) {
      const Estimate& read = back[i].quantities.at(name);
      EXPECT_EQ(read.value(), estimate.value()) << name;
      ASSERT_EQ(read.contributions().size(), estimate.contributions().size()) << name;
      for (const auto& [input, contribution] : estimate.contributions()) {
        ASSERT_TRUE(read.contributions().contains(input)) << name << " " << input;
        EXPECT_EQ(read.contributions().at(input).u, contribution.u) << name << " " << input;
        EXPECT_EQ(read.contributions().at(input).dof, contribution.dof) << name << " " << input;
      }
    }
  }
  EXPECT_EQ(points_csv(back, "a made-up run"), text);
}

TEST(PointsFile, TakesAPlainTableFromAnotherLaboratory) {
  const auto points = points_from_text(
      "# source: a wind tunnel elsewhere\n"
      "# torque_N_m [N m]: torque transducer\n"
      "air_speed_m_s,u_air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m,thrust_N\n"
      "8.0,0.1,90,1.2,0.5,\n"
      "8.1,,95,1.2,0.4,3.5\n",
      "points.csv");
  ASSERT_EQ(points.size(), 2U);
  EXPECT_EQ(points[0].number, 1);
  EXPECT_EQ(points[0].blade_count, 0) << "not stated";
  EXPECT_TRUE(std::isnan(points[0].pitch_deg)) << "not stated";
  EXPECT_DOUBLE_EQ(points[0].quantities.at("air_speed_m_s").u(), 0.1);
  EXPECT_GT(points[0].quantities.at("air_speed_m_s").u_random(), 0.0)
      << "a plain u_ column is independent from row to row";
  EXPECT_TRUE(points[1].quantities.at("air_speed_m_s").contributions().empty());
  EXPECT_FALSE(points[0].quantities.contains("thrust_N")) << "an empty cell was not measured";
  EXPECT_TRUE(points[1].quantities.contains("thrust_N"));
}

struct Broken {
  const char* name;
  const char* text;
  const char* message;  // whole
};

class BrokenPointsFile : public testing::TestWithParam<Broken> {};

TEST_P(BrokenPointsFile, IsRefusedWithPlaceAndRemedy) {
  try {
    points_from_text(GetParam().text, "p.csv");
    FAIL() << "was accepted";
  } catch (const base::BadInput& error) {
    EXPECT_STREQ(error.what(), GetParam().message);
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, BrokenPointsFile,
    testing::Values(
        Broken{"MisspeltColumn",
               "air_sped_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n8,90,1.2,1\n",
               "p.csv:1: column 'air_sped_m_s' is not known: 'air_speed_m_s', or a comment line '# "
               "air_sped_m_s [unit]: meaning'"},
        Broken{"SpeedInRpm",
               "air_speed_m_s,rotor_speed_rpm,air_density_kg_m3,torque_N_m\n8,900,1.2,1\n",
               "p.csv:1: column 'rotor_speed_rpm' is not known: 'rotor_speed_rad_s', or a comment "
               "line '# rotor_speed_rpm [unit]: meaning'"},
        Broken{"NoAirSpeed", "rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n90,1.2,1\n",
               "p.csv:1: column 'air_speed_m_s' is missing: a column of that name beside "
               "rotor_speed_rad_s, air_density_kg_m3, torque_N_m"},
        Broken{"NoDensity",
               "air_speed_m_s,rotor_speed_rad_s,air_pressure_hPa,torque_N_m\n8,90,1013,1\n",
               "p.csv:1: the air density cannot be known: a column air_density_kg_m3, or "
               "air_temperature_C, air_pressure_hPa and air_humidity_pct together"},
        Broken{"NothingToReduce", "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3\n8,90,1.2\n",
               "p.csv:1: there is no power, torque or thrust to reduce: a column dc_power_W, "
               "torque_N_m, shaft_power_W or thrust_N"},
        Broken{"ZeroAirSpeed",
               "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n8,90,1.2,1\n"
               "0,90,1.2,1\n",
               "p.csv:3: air_speed_m_s is 0: mean air speed at the rotor disc in m s-1, from 0.001 "
               "to 150"},
        Broken{"NotANumber",
               "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\nnan,90,1.2,1\n",
               "p.csv:2: air_speed_m_s is 'nan': a finite decimal number"},
        Broken{"NegativeUncertainty",
               "air_speed_m_s,u_air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n"
               "8,-0.1,90,1.2,1\n",
               "p.csv:2: u_air_speed_m_s is -0.1: a standard uncertainty, 0 or above"},
        Broken{"PressureInPascal",
               "air_speed_m_s,rotor_speed_rad_s,air_temperature_C,air_pressure_hPa,"
               "air_humidity_pct,torque_N_m\n8,90,20,101325,50,1\n",
               "p.csv:2: air_pressure_hPa is 101325: mean static pressure of the air in hPa, from "
               "300 to 1200"},
        Broken{"UnitOfAnotherScale",
               "# air_speed_m_s [km h-1]: anemometer\n"
               "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n8,90,1.2,1\n",
               "p.csv:1: 'km h-1' is another scale: values in \"m s-1\": multiply by "
               "0.2777777777777778"},
        Broken{"UncertaintyWithoutValue",
               "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m,u_thrust_N\n"
               "8,90,1.2,1,2\n",
               "p.csv:1: there is an uncertainty of 'thrust_N', but not the column itself: a "
               "column 'thrust_N'"},
        Broken{"PartsThatDoNotAddUp",
               "air_speed_m_s,u_air_speed_m_s,u_air_speed_m_s/a:x,rotor_speed_rad_s,"
               "air_density_kg_m3,torque_N_m\n8,0.2,0.1,90,1.2,1\n",
               "p.csv:2: u_air_speed_m_s is 0.2, but its parts make 0.1: the root sum of squares "
               "of its u_NAME/INPUT columns, or no such columns"},
        Broken{"NumberTwice",
               "point,air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n"
               "4,8,90,1.2,1\n4,8,90,1.2,1\n",
               "p.csv:3: point 4 stands twice: a number of its own for every point"},
        Broken{"HalfABlade",
               "blade_count,air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n"
               "2.5,8,90,1.2,1\n",
               "p.csv:2: blade_count is 2.5: a whole number from 1 to 12"},
        Broken{"CubeBelowCubeOfMean",
               "air_speed_m_s,air_speed_cubed_m3_s3,rotor_speed_rad_s,air_density_kg_m3,"
               "torque_N_m\n8,64,90,1.2,1\n",
               "p.csv:2: air_speed_cubed_m3_s3 is less than the cube of air_speed_m_s: the mean of "
               "the cube, which no wind makes smaller than the cube of the mean"},
        Broken{"DegreesOfFreedomInWords",
               "# dof a:x = many\n"
               "air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,torque_N_m\n8,90,1.2,1\n",
               "p.csv:1: the degrees of freedom are not a number above 0: # dof INPUT = 9"}),
    [](const auto& each) { return std::string(each.param.name); });

}  // namespace
}  // namespace windwright::analysis
