// SPDX-License-Identifier: Apache-2.0
// The example bench with a battery goes the whole path, as a bench without one does.
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <map>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

std::vector<std::string> cells(const std::string& line) {
  std::istringstream in(line);
  std::vector<std::string> list;
  for (std::string cell; std::getline(in, cell, ',');)
    list.push_back(cell);
  return list;
}

std::map<std::string, double> reconciled_W(const json::value& window) {
  std::map<std::string, double> flows;
  for (const json::value& flow : window.at("flows").as_array()) {
    const json::value& power = flow.at("reconciled_W");
    if (power.is_null()) continue;
    flows[std::string(flow.at("from").as_string()) + " to " +
          std::string(flow.at("to").as_string())] = power.at("value").to_number<double>();
  }
  return flows;
}

// Without the DC loads, which nothing measures, the bus is a balance of its own.
void expect_a_window_to_close(const fs::path& folder) {
  const Ended ended =
      windwright({"reduce", "run", "--window", "60:80", "--json", "--chart", "chain.svg"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.out << ended.err;
  const json::value study = base::json_from_text(ended.out, "stdout");
  EXPECT_TRUE(study.at("global_test").at("passed").as_bool());
  const auto flows = reconciled_W(study.at("windows").at(0));
  EXPECT_NEAR(flows.at("charge controller to DC bus"),
              flows.at("DC bus to battery") + flows.at("DC bus to dump load") +
                  flows.at("DC bus to inverter"),
              1e-9);
  EXPECT_EQ(flows.count("DC bus to DC loads"), 0U) << "their selector stands at none";
  EXPECT_EQ(flows.count("mains charger to DC bus"), 0U) << "it is off";
  EXPECT_GT(flows.at("inverter to AC loads"), 5.0);
  EXPECT_NE(text_of(folder / "chain.svg").find(">AC loads<"), std::string::npos);
}

TEST(Shed, IsCalibratedReadyConductedAndClosesItsEnergyChain) {
  const fs::path folder = bench_folder("shed", "saltmarsh-shed");
  std::string campaign = text_of(folder / "campaign.toml");
  const std::string loads = "dc_load_selector = \"lamp+pump\"";
  campaign.replace(campaign.find(loads), loads.size(), "dc_load_selector = \"none\"");
  write_text(folder / "campaign.toml", campaign);
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  EXPECT_EQ(windwright({"ready", "bench.toml"}, folder).exit_code, 0);
  const Ended ended = windwright({"conduct", "campaign.toml", "--into", "run"}, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  const std::string points = text_of(folder / "run/points.csv");
  EXPECT_NE(points.find("blade_count"), std::string::npos);
  EXPECT_TRUE(fs::exists(folder / "run/report.html"));
  EXPECT_EQ(windwright({"reduce", "run/points.csv"}, folder).exit_code, 0);
  expect_a_window_to_close(folder);
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

TEST(Shed, CautionsWhereAFullBatteryUnloadsTheRotor) {
  const fs::path folder = bench_folder("shed", "saltmarsh-shed");
  const std::vector<std::string> simulate{"simulate", "bench.toml", "--scenario",
                                          "day.toml", "--seconds",  "0"};
  EXPECT_EQ(windwright(simulate, folder).err.find("caution"), std::string::npos);
  std::string bench = text_of(folder / "bench.toml");
  for (const auto& [old, by] : {std::pair<std::string, std::string>{"always_on", "series_pwm"},
                                {"dump = \"pwm\"", "dump = \"none\""},
                                {"dump_current_A = 8.0\n", ""}})
    bench.replace(bench.find(old), old.size(), by);
  write_text(folder / "bench.toml", bench);
  const Ended ended = windwright(simulate, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_NE(ended.err.find("caution: this charge controller takes the load off the rotor"),
            std::string::npos)
      << ended.err;
}

}  // namespace
}  // namespace windwright::end_to_end
