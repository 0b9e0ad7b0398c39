// SPDX-License-Identifier: Apache-2.0
// The example bench with a battery goes the whole path, as a bench without one does.
#include "end_to_end/program.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> cells(const std::string& line) {
  std::istringstream in(line);
  std::vector<std::string> list;
  for (std::string cell; std::getline(in, cell, ',');)
    list.push_back(cell);
  return list;
}

TEST(Shed, IsCalibratedReadyAndConducted) {
  const fs::path folder = bench_folder("shed", "saltmarsh-shed");
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  EXPECT_EQ(windwright({"ready", "bench.toml"}, folder).exit_code, 0);
  const Ended ended = windwright({"conduct", "campaign.toml", "--into", "run"}, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  const std::string points = text_of(folder / "run/points.csv");
  EXPECT_NE(points.find("blade_count"), std::string::npos);
  EXPECT_TRUE(fs::exists(folder / "run/report.html"));
}

// The rotor runs up, the battery takes its current, and the inverter feeds its bulb.
TEST(Shed, SimulatesItsFirstMinute) {
  const fs::path folder = bench_folder("shed", "saltmarsh-shed");
  const Ended ended = windwright(
      {"simulate", "bench.toml", "--scenario", "day.toml", "--seconds", "30", "--every", "30"},
      folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  std::istringstream lines(ended.out);
  std::string line;
  std::getline(lines, line);
  const std::vector<std::string> names = cells(line);
  while (std::getline(lines, line)) {
    if (line.starts_with("30,")) break;
  }
  const std::vector<std::string> values = cells(line);
  ASSERT_EQ(values.size(), names.size());
  const auto value = [&](const char* name) {
    const auto found = std::find(names.begin(), names.end(), name);
    EXPECT_NE(found, names.end()) << name;
    return std::stod(values.at(static_cast<std::size_t>(found - names.begin())));
  };
  EXPECT_LT(value("battery_current_A"), -1.0);
  EXPECT_NEAR(value("inverter_output_rms_V"), 230.0, 2.0);
  EXPECT_NEAR(value("inverter_output_W"), 9.3, 0.5);
  const double bus_J = value("true_charge_J") + value("true_battery_J") - value("true_dump_J") -
                       value("true_dc_loads_J") - value("true_inverter_input_J");
  EXPECT_NEAR(bus_J / value("true_charge_J"), 0.0, 1e-7);
}

}  // namespace
}  // namespace windwright::end_to_end
