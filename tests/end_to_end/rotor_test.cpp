// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

const std::string demo = SOURCE_FOLDER "/examples/saltmarsh-college/rotor.toml";

Ended rotor(std::vector<std::string> more) {
  std::vector<std::string> words{"rotor", demo};
  words.insert(words.end(), more.begin(), more.end());
  return windwright(words, scratch_folder("rotor"));
}

TEST(RotorVerb, SweepsTipSpeedRatioAndPitch) {
  const auto ended =
      rotor({"--air-speed", "8", "--tsr", "3:0.1:5", "--pitch", "5:5:10", "--blades", "2"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_TRUE(ended.out.starts_with(
      "tip_speed_ratio,pitch_deg,air_speed_m_s,rotor_speed_rad_s,power_W,torque_N_m,thrust_N,"
      "cp,cq,ct\n"));
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 42U);
  EXPECT_EQ(table.text(3, 0), "3.3");
  EXPECT_EQ(table.text(21, 1), "10");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    EXPECT_DOUBLE_EQ(table.number(row, 4), table.number(row, 5) * table.number(row, 3));
  }
}

TEST(RotorVerb, SweepsTheWindAtFixedRotorSpeed) {
  const auto ended = rotor({"--rotor-speed-rpm", "1000", "--air-speeds", "4:2:10"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 4U);
  EXPECT_EQ(table.text(0, 2), "4");
  EXPECT_NEAR(table.number(0, 0), 104.719755 * 0.3 / 4.0, 1e-6);
  EXPECT_NEAR(table.number(3, 3), 104.719755, 1e-6);
}

TEST(RotorVerb, TakesStandardAirUnlessTold) {
  const auto power_W = [](const std::vector<std::string>& more) {
    std::vector<std::string> words{"--air-speed", "8", "--tsr", "4"};
    words.insert(words.end(), more.begin(), more.end());
    return base::Table::from_text(rotor(words).out, "out").number(0, 4);
  };
  EXPECT_DOUBLE_EQ(power_W({}), power_W({"--density", "1.225", "--blades", "3", "--pitch", "5"}));
  EXPECT_LT(power_W({"--density", "1.1"}), power_W({}));
  EXPECT_LT(power_W({"--viscosity", "1e-4"}), power_W({}));
  EXPECT_GT(power_W({"--losses", "none"}), power_W({"--losses", "both"}));
}

TEST(RotorVerb, GivesOneJsonDocumentWithTheSameNames) {
  const auto ended = rotor({"--air-speed", "8", "--tsr", "4", "--spanwise", "--json"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto document = boost::json::parse(ended.out);
  const auto& point = document.at("points").at(0);
  for (const char* name : {"tip_speed_ratio", "pitch_deg", "air_speed_m_s", "rotor_speed_rad_s",
                           "power_W", "torque_N_m", "thrust_N", "cp", "cq", "ct"}) {
    EXPECT_TRUE(point.at(name).is_number()) << name;
  }
  EXPECT_EQ(point.at("elements").as_array().size(), 40U);
}

TEST(RotorVerb, ShowsEveryElement) {
  const auto ended = rotor({"--air-speed", "8", "--tsr", "4:1:5", "--spanwise"});
  const auto table = base::Table::from_text(ended.out, "out");
  EXPECT_EQ(table.rows(), 80U);
  EXPECT_GT(table.number(39, table.required_column("radius_m")), 0.29);
  EXPECT_LT(table.number(0, table.required_column("loss_factor")), 0.5);
}

TEST(RotorVerb, SaysWhenThePolarsReynoldsNumbersDoNotReach) {
  const auto ended = rotor({"--air-speed", "0.5", "--tsr", "4"});
  EXPECT_EQ(ended.exit_code, 0);
  EXPECT_NE(ended.err.find("below its polar's lowest Reynolds number"), std::string::npos)
      << ended.err;
  EXPECT_EQ(rotor({"--air-speed", "8", "--tsr", "4"}).err, "");
}

TEST(RotorVerb, RefusesWhatItCannotDo) {
  const auto complaint = [](const std::vector<std::string>& words) {
    const auto ended = rotor(words);
    EXPECT_EQ(ended.exit_code, 2) << ended.err;
    EXPECT_EQ(ended.out, "");
    return ended.err;
  };
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "1:0:8"}),
            "--tsr: is '1:0:8': A:STEP:B with a step that is a number and not 0\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "1:2"}),
            "--tsr: is '1:2': A:STEP:B, for example 1:0.5:8, or one number\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "1:1e-9:8"}),
            "--tsr: is '1:1e-9:8': at most 100000 steps\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "8:1:1"}),
            "--tsr: is '8:1:1': a step that leads from A to B\n");
  EXPECT_EQ(complaint({"--tsr", "1:1:8"}),
            "--air-speed: is missing: the air speed in m/s, with --tsr\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--blades", "13"}),
            "--blades: is '13': a number from 1 to 12\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--losses", "some"}),
            "--losses: is 'some': none, tip, root or both\n");
  EXPECT_NE(complaint({"--air-speed", "8", "--tsr", "4", "--lossy", "1"}).find("--lossy"),
            std::string::npos);
}

}  // namespace
}  // namespace windwright::end_to_end
