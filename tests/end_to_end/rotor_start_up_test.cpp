// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cstdio>
#include <fstream>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

const std::string folder = SOURCE_FOLDER "/examples/saltmarsh-college/";

Ended start_up(std::vector<std::string> more) {
  std::vector<std::string> words{"rotor", folder + "rotor.toml", "--start-up",
                                 folder + "bench.toml"};
  words.insert(words.end(), more.begin(), more.end());
  return windwright(words, scratch_folder("rotor_start_up"));
}

TEST(RotorStartUp, TellsStartRunningAndRunAwayOverTheWind) {
  const auto ended = start_up({"--load-ohm", "15", "--air-speeds", "2:4:14"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_TRUE(ended.out.starts_with(
      "pitch_deg,air_speed_m_s,starting_torque_N_m,holding_torque_N_m,starts,"
      "from_rest_rotor_speed_rad_s,running_rotor_speed_rad_s,dc_power_W,"
      "runaway_rotor_speed_rad_s,runaway_tip_speed_m_s,runaway_over_limit,overspeed_after_s,"
      "keeps_turning_from_m_s,keeps_delivering_from_m_s,starts_from_m_s,"
      "delivers_from_rest_from_m_s,runs_up_from_rest_from_m_s\n"))
      << ended.out;
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 4U);
  const auto column = [&](const char* name) { return table.required_column(name); };
  EXPECT_EQ(table.number(0, column("starts")), 0.0);
  EXPECT_EQ(table.text(0, column("from_rest_rotor_speed_rad_s")), "");
  EXPECT_EQ(table.number(3, column("starts")), 1.0);
  // cogging 0.015 + bearing 0.006 + 6 pole pairs times 2.5e-4 J of hysteresis
  EXPECT_NEAR(table.number(0, column("holding_torque_N_m")), 0.0225, 1e-12);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    EXPECT_NEAR(table.number(row, column("runaway_tip_speed_m_s")),
                0.3 * table.number(row, column("runaway_rotor_speed_rad_s")), 1e-9);
    EXPECT_NEAR(table.number(row, column("runaway_over_limit")),
                table.number(row, column("runaway_rotor_speed_rad_s")) / 420.0, 1e-12);
  }
  EXPECT_NE(ended.err.find("a standing rotor starts from"), std::string::npos) << ended.err;
}

TEST(RotorStartUp, WarnsOfThrownBladesWhereTheLimitIsPassed) {
  const auto fast = start_up({"--load-ohm", "15", "--air-speeds", "16"});
  EXPECT_NE(fast.err.find("caution: without load the rotor runs past the bench's overspeed limit"),
            std::string::npos)
      << fast.err;
  const auto table = base::Table::from_text(fast.out, "out");
  EXPECT_GT(table.number(0, table.required_column("overspeed_after_s")), 0.0);
  const auto slow = start_up({"--load-ohm", "15", "--air-speeds", "4"});
  EXPECT_EQ(slow.err.find("caution"), std::string::npos) << slow.err;
}

TEST(RotorStartUp, GivesOneJsonDocumentWithGapsAsNull) {
  const auto ended = start_up(
      {"--load-ohm", "open", "--air-speeds", "3", "--pitch", "5:5:10", "--blades", "2", "--json"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto document = boost::json::parse(ended.out).as_object();
  EXPECT_TRUE(document.at("load_ohm").is_null());
  EXPECT_EQ(document.at("overspeed_limit_rad_s").to_number<double>(), 420.0);
  const auto& pitches = document.at("pitches").as_array();
  ASSERT_EQ(pitches.size(), 2U);
  const auto& cut_in = pitches[0].at("cut_in").as_object();
  EXPECT_GT(cut_in.at("starts_from_m_s").to_number<double>(),
            cut_in.at("keeps_turning_from_m_s").to_number<double>());
  EXPECT_TRUE(cut_in.at("keeps_delivering_from_m_s").is_null());
  const auto& point = pitches[0].at("points").at(0).as_object();
  EXPECT_FALSE(point.at("starts").as_bool());
  EXPECT_TRUE(point.at("from_rest_rotor_speed_rad_s").is_null());
  // More pitch lets it start in less wind.
  EXPECT_LT(pitches[1].at("cut_in").at("starts_from_m_s").to_number<double>(),
            cut_in.at("starts_from_m_s").to_number<double>());
}

// The table in docs/theory/transients.md, rounded as it stands there.
TEST(RotorStartUp, TheShownTableIsWhatItComputes) {
  std::ifstream page(SOURCE_FOLDER "/docs/theory/transients.md");
  int rows = 0;
  for (std::string line; std::getline(page, line);) {
    double pitch_deg = 0.0;
    double starts_m_s = 0.0;
    double runs_up_m_s = 0.0;
    double keeps_m_s = 0.0;
    double runaway_rad_s = 0.0;
    if (std::sscanf(line.c_str(), "| %lf deg | %lf m/s | %lf m/s | %lf m/s | %lf rad/s", &pitch_deg,
                    &starts_m_s, &runs_up_m_s, &keeps_m_s, &runaway_rad_s) != 5) {
      continue;
    }
    ++rows;
    const auto ended = start_up(
        {"--load-ohm", "15", "--pitch", std::to_string(pitch_deg), "--air-speeds", "14", "--json"});
    ASSERT_EQ(ended.exit_code, 0) << ended.err;
    const auto document = boost::json::parse(ended.out);
    const auto& pitch = document.at("pitches").at(0).as_object();
    const auto& cut_in = pitch.at("cut_in").as_object();
    const auto value = [](const boost::json::value& number) { return number.to_number<double>(); };
    EXPECT_NEAR(value(cut_in.at("starts_from_m_s")), starts_m_s, 0.0501) << line;
    EXPECT_NEAR(value(cut_in.at("runs_up_from_rest_from_m_s")), runs_up_m_s, 0.0501) << line;
    EXPECT_NEAR(value(cut_in.at("keeps_turning_from_m_s")), keeps_m_s, 0.0501) << line;
    EXPECT_NEAR(value(pitch.at("points").at(0).at("runaway_rotor_speed_rad_s")), runaway_rad_s, 0.5)
        << line;
  }
  EXPECT_EQ(rows, 4);
}

TEST(RotorStartUp, RefusesWhatDoesNotBelong) {
  const auto yaw = start_up({"--yaw", "5"});
  EXPECT_EQ(yaw.exit_code, 2);
  EXPECT_NE(yaw.err.find("--yaw: is given together with --start-up, which does not look at it"),
            std::string::npos)
      << yaw.err;
  const auto tsr = start_up({"--tsr", "4"});
  EXPECT_EQ(tsr.exit_code, 2);
  EXPECT_NE(tsr.err.find("--tsr: is given together with --start-up"), std::string::npos) << tsr.err;
  const auto load = start_up({"--load-ohm", "-3"});
  EXPECT_EQ(load.exit_code, 2);
  EXPECT_NE(load.err.find("--load-ohm: is '-3'"), std::string::npos) << load.err;
  const auto alone = windwright(
      {"rotor", folder + "rotor.toml", "--load-ohm", "3", "--tsr", "4", "--air-speed", "8"},
      scratch_folder("rotor_start_up"));
  EXPECT_EQ(alone.exit_code, 2);
  EXPECT_NE(alone.err.find("--load-ohm: is given without a bench"), std::string::npos) << alone.err;
}

}  // namespace
}  // namespace windwright::end_to_end
