// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "base/text.h"
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
      "cp,cq,ct,"));
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 42U);
  EXPECT_EQ(table.text(3, 0), "3.3");
  EXPECT_EQ(table.text(21, 1), "10");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    EXPECT_DOUBLE_EQ(table.number(row, 4), table.number(row, 5) * table.number(row, 3));
  }
}

TEST(RotorVerb, SweepsBladeCountPitchAndTipSpeedRatioTogether) {
  const auto ended =
      rotor({"--air-speed", "8", "--tsr", "3:1:5", "--pitch", "5:5:10", "--blades", "2:2:6"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 3U * 2U * 3U);
  EXPECT_EQ(table.header().back(), "blade_count");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    EXPECT_EQ(table.number(row, 10), 2.0 + 2.0 * static_cast<double>(row / 6));
    EXPECT_EQ(table.number(row, 1), (row / 3) % 2 == 0 ? 5.0 : 10.0);
    EXPECT_EQ(table.number(row, 0), 3.0 + static_cast<double>(row % 3));
  }
  const auto alone = base::Table::from_text(
      rotor({"--air-speed", "8", "--tsr", "5", "--pitch", "10", "--blades", "4"}).out, "out");
  for (std::size_t column = 0; column < table.header().size(); ++column)
    EXPECT_EQ(table.text(11, column), alone.text(0, column)) << table.header()[column];
}

TEST(RotorVerb, GivesTheOptimumAndItsFlatness) {
  const std::vector<std::string> words{"--air-speed", "8",        "--tsr", "2:0.5:9",  "--pitch",
                                       "0:4:12",      "--blades", "2:1:3", "--optimum"};
  const auto ended = rotor(words);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  // Four pitches and the best of them for each of two blade counts, and the best of all.
  ASSERT_EQ(table.rows(), 11U);
  const auto value = [&](std::size_t row, const char* name) {
    return table.number(row, table.required_column(name));
  };
  EXPECT_EQ(table.text(4, 0), "pitch");
  EXPECT_EQ(table.text(10, 0), "blade_count");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    EXPECT_LE(value(row, "cp"), value(10, "cp"));
    EXPECT_NEAR(value(row, "cp"), value(row, "cq") * value(row, "tip_speed_ratio"), 1e-9);
    EXPECT_LT(value(row, "within_5_percent_from"), value(row, "within_1_percent_from"));
    EXPECT_LT(value(row, "within_1_percent_from"), value(row, "tip_speed_ratio"));
    EXPECT_LT(value(row, "tip_speed_ratio"), value(row, "within_1_percent_to"));
    EXPECT_LT(value(row, "within_1_percent_to"), value(row, "within_5_percent_to"));
  }
  auto more = words;
  more.emplace_back("--json");
  const auto document = boost::json::parse(rotor(more).out);
  const auto& optima = document.at("optima").as_array();
  ASSERT_EQ(optima.size(), table.rows());
  // Boost.JSON 1.81 reads a number up to one unit in the last place off.
  EXPECT_DOUBLE_EQ(optima[10].at("cp").as_double(), value(10, "cp"));
  EXPECT_EQ(document.at("points").as_array().size(), 2U * 4U * 15U);
}

TEST(RotorVerb, SaysThatTheOptimumIsNotInsideTheSweep) {
  const auto ended = rotor({"--air-speed", "8", "--tsr", "2:0.5:3.5", "--optimum"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  EXPECT_EQ(table.text(0, table.required_column("cp")), "");
  EXPECT_NE(ended.err.find("1 of 1 optima are not inside the sweep"), std::string::npos)
      << ended.err;
  const auto document =
      boost::json::parse(rotor({"--air-speed", "8", "--tsr", "2:0.5:3.5", "--json"}).out);
  EXPECT_TRUE(document.at("optima").at(0).at("cp").is_null());
  EXPECT_FALSE(document.at("optima").at(0).at("inside_sweep").as_bool());
}

// 0.2827 m2 of rotor in 0.6 m2: 47 % of the section.
TEST(RotorVerb, ExplainsAPowerCoefficientAboveBetzInANarrowTunnel) {
  const std::vector<std::string> words{"--air-speed",   "8",  "--tsr",   "6:1:7",
                                       "--blades",      "6",  "--pitch", "0",
                                       "--tunnel-area", "0.6"};
  const auto ended = rotor(words);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  EXPECT_GT(table.number(0, table.required_column("cp")), 16.0 / 27.0);
  EXPECT_EQ(table.number(0, table.required_column("tip_speed_ratio")), 6.0);
  EXPECT_NE(ended.err.find("cp is above 16/27 = 0.593 because it refers to the tunnel's air speed"),
            std::string::npos)
      << ended.err;

  EXPECT_NE(rotor({"--air-speed", "8", "--tsr", "4:0.5:9", "--blades", "6", "--pitch", "4",
                   "--tunnel-area", "0.6", "--optimum"})
                .err.find("1 of 1 optima cp is above 16/27"),
            std::string::npos);

  auto more = words;
  more.emplace_back("--json");
  const auto document = boost::json::parse(rotor(more).out);
  const auto& point = document.at("points").at(0);
  EXPECT_NEAR(point.at("blockage").as_double(), 0.09 * 3.14159265358979 / 0.6, 1e-9);
  const auto& open = point.at("open_air");
  EXPECT_LT(open.at("cp").as_double(), 16.0 / 27.0);
  // The open-air point is that of open air: same speed of rotation, the air that it names.
  const std::string free_m_s = base::number_text(open.at("air_speed_m_s").as_double());
  const std::string free_ratio = base::number_text(open.at("tip_speed_ratio").as_double());
  const auto free = base::Table::from_text(
      rotor({"--air-speed", free_m_s, "--tsr", free_ratio, "--blades", "6", "--pitch", "0"}).out,
      "out");
  for (const char* name : {"cp", "cq", "ct"}) {
    EXPECT_NEAR(open.at(name).as_double(), free.number(0, free.required_column(name)), 1e-8)
        << name;
  }
  for (const char* name : {"power_W", "torque_N_m", "thrust_N"}) {
    EXPECT_NEAR(point.at(name).as_double() / free.number(0, free.required_column(name)), 1.0, 1e-8)
        << name;
  }
}

TEST(RotorVerb, TurnsRotationalAugmentationOffAndTheRotorOutOfTheWind) {
  const std::string measured = SOURCE_FOLDER "/examples/two-bladed-rotor/rotor.toml";
  const auto power_W = [&](double air_speed_m_s, std::vector<std::string> more) {
    std::vector<std::string> words{"rotor", measured,       "--rotor-speed-rpm",
                                   "72",    "--air-speeds", base::number_text(air_speed_m_s)};
    words.insert(words.end(), more.begin(), more.end());
    const auto ended = windwright(words, scratch_folder("rotor"));
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    return base::Table::from_text(ended.out, "out").number(0, 4);
  };
  const double stalled_W = power_W(13.0, {"--rotational-augmentation", "off"});
  EXPECT_GT(power_W(13.0, {}), 1.01 * stalled_W);
  EXPECT_EQ(power_W(13.0, {}), power_W(13.0, {"--rotational-augmentation", "on"}));
  const double straight_W = power_W(7.0, {});
  EXPECT_LT(power_W(7.0, {"--yaw", "20"}), 0.97 * straight_W);
  EXPECT_NEAR(power_W(7.0, {"--yaw", "20"}), power_W(7.0, {"--yaw", "-20"}), 1e-6 * straight_W);
}

TEST(RotorVerb, IsQuietAboutTheWallsOfAWideTunnel) {
  const std::vector<std::string> open{"--air-speed", "8", "--tsr", "4"};
  auto wide = open;
  wide.insert(wide.end(), {"--tunnel-area", "1000"});
  const auto ended = rotor(wide);
  EXPECT_EQ(ended.err, "");
  const auto cp = [](const std::string& out) {
    return base::Table::from_text(out, "out").number(0, 7);
  };
  EXPECT_NEAR(cp(ended.out), cp(rotor(open).out), 1e-3);
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
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--blades", "2.5"}),
            "--blades: is '2.5': a whole number from 1 to 12\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--blades", "1:0.5:3"}),
            "--blades: is '1:0.5:3': whole numbers with a whole step from 1 to 12\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--tunnel-area", "0.2"}),
            "--tunnel-area: is '0.2': the section's clear area in m2, above the rotor's 0.2827\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4:1:5", "--optimum"}),
            "--optimum: has no three tip-speed ratios to look at: --air-speed V --tsr A:STEP:B "
            "across the optimum, or --rotor-speed-rpm N --air-speeds A:STEP:B\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4:1:9", "--optimum", "--spanwise"}),
            "--optimum: is given together with --spanwise: one of them\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--yaw", "61"}),
            "--yaw: is '61': a number from -60 to 60\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--yaw", "5", "--tunnel-area", "1"}),
            "--yaw: is given together with --tunnel-area: one of them: the theory of the walls has "
            "the disc straight across\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--rotational-augmentation", "yes"}),
            "--rotational-augmentation: is 'yes': on or off\n");
  EXPECT_EQ(complaint({"--air-speed", "8", "--tsr", "4", "--losses", "some"}),
            "--losses: is 'some': none, tip, root or both\n");
  EXPECT_NE(complaint({"--air-speed", "8", "--tsr", "4", "--lossy", "1"}).find("--lossy"),
            std::string::npos);
}

}  // namespace
}  // namespace windwright::end_to_end
