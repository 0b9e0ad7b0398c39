// SPDX-License-Identifier: Apache-2.0
// The example bench with a battery goes the whole path, as a bench without one does.
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
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

void measure(const fs::path& folder) {
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  ASSERT_EQ(windwright({"ready", "bench.toml", "--prove-interlocks"}, folder).exit_code, 0);
  EXPECT_EQ(windwright({"ready", "bench.toml"}, folder).exit_code, 0);
  const Ended ended = windwright({"conduct", "campaign.toml", "--into", "run"}, folder);
  ASSERT_LE(ended.exit_code, 1) << ended.err;
}

// Power before and behind the charge controller is measured twice; what the DC loads take follows
// from the rest of the bus.
void expect_a_window_to_close(const fs::path& folder) {
  const Ended ended =
      windwright({"reduce", "run", "--window", "60:80", "--json", "--chart", "chain.svg"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.out << ended.err;
  const json::value study = base::json_from_text(ended.out, "stdout");
  EXPECT_TRUE(study.at("global_test").at("passed").as_bool());
  const auto flows = reconciled_W(study.at("windows").at(0));
  EXPECT_NEAR(flows.at("rectifier to charge controller"), flows.at("charge controller to DC bus"),
              1e-9);
  EXPECT_NEAR(flows.at("charge controller to DC bus"),
              flows.at("DC bus to battery") + flows.at("DC bus to dump load") +
                  flows.at("DC bus to DC loads") + flows.at("DC bus to inverter"),
              1e-9);
  EXPECT_EQ(flows.count("mains charger to DC bus"), 0U) << "it is off";
  EXPECT_GT(flows.at("DC bus to DC loads"), 5.0);
  EXPECT_GT(flows.at("inverter to AC loads"), 5.0);
  EXPECT_NE(text_of(folder / "chain.svg").find(">AC loads<"), std::string::npos);
}

TEST(Shed, IsCalibratedReadyConductedAndClosesItsEnergyChain) {
  const fs::path folder = bench_folder("shed", "saltmarsh-shed");
  measure(folder);
  EXPECT_TRUE(fs::exists(folder / "run/report.html"));
  EXPECT_EQ(windwright({"reduce", "run/points.csv"}, folder).exit_code, 0);
  expect_a_window_to_close(folder);
}

void replace(std::string& text, const std::string& old, const std::string& now) {
  ASSERT_NE(text.find(old), std::string::npos) << old;
  text.replace(text.find(old), old.size(), now);
}

// Behind a pulsed switch mean voltage times mean current is no power.
TEST(Shed, TakesThePowerOfAPulsedControllerWhereItDoesNotPulse) {
  const fs::path folder = bench_folder("shed-pulsed", "saltmarsh-shed");
  std::string bench = text_of(folder / "bench.toml");
  replace(bench, "source = \"always_on\"", "source = \"series_pwm\"");
  replace(bench, "dump = \"pwm\"", "dump = \"none\"");
  replace(bench, "dump_current_A = 8.0\n", "");
  replace(bench, "state_of_charge_pct = 93", "state_of_charge_pct = 97");
  write_text(folder / "bench.toml", bench);
  std::string campaign = text_of(folder / "campaign.toml");
  replace(campaign, "levels = [60, 65, 70, 75, 80, 90]", "levels = [45, 50, 55]");
  replace(campaign, "dc_load_selector = \"lamp+pump\"", "dc_load_selector = \"none\"");
  replace(campaign, "ac_load_selector = \"bulb+lamp+iron\"", "ac_load_selector = \"bulb\"");
  write_text(folder / "campaign.toml", campaign);
  measure(folder);
  std::istringstream lines(text_of(folder / "run/points.csv"));
  std::vector<std::string> names;
  double largest_gap = 0.0;
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with("#")) continue;
    const std::vector<std::string> row = cells(line);
    if (names.empty()) {
      names = row;
      continue;
    }
    const auto value = [&](const char* name) {
      const auto found = std::find(names.begin(), names.end(), name);
      return std::stod(row.at(static_cast<std::size_t>(found - names.begin())));
    };
    EXPECT_DOUBLE_EQ(value("dc_power_W"), value("charge_power_W"));
    largest_gap =
        std::max(largest_gap, value("dc_voltage_V") * value("dc_current_A") / value("dc_power_W"));
  }
  EXPECT_GT(largest_gap, 0.1) << "the controller did not pulse";
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

// The simulated inverter and bulb go the same way as an instrument's file: its power is that of the
// averaged truth (0.5 %), and a small LED lamp has a poor power factor, far below the 0.9 of a
// large one (common practice, no source).
TEST(Shed, ItsInvertersWaveformsShowTheBulbsPoorPowerFactor) {
  const fs::path folder = bench_folder("shed-waves", "saltmarsh-shed");
  std::string bench = text_of(folder / "bench.toml");
  const std::string slow = "sample_rate_hz = 1000\n";
  ASSERT_NE(bench.find(slow), std::string::npos);
  bench.replace(bench.find(slow), slow.size(), "sample_rate_hz = 25000\n");
  write_text(folder / "bench.toml", bench + text_of(folder / "inverter_channels.toml"));
  const Ended played = windwright({"simulate", "bench.toml", "--scenario", "bulb.toml", "--seconds",
                                   "1.25", "--from", "1.0", "--every", "0.00004"},
                                  folder);
  ASSERT_EQ(played.exit_code, 0) << played.err;
  write_text(folder / "waves.csv", played.out);
  const Ended ended = windwright({"power", "waves.csv", "--voltage", "inverter_output_V",
                                  "--current", "inverter_output_A", "--json"},
                                 folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value power = base::json_from_text(ended.out, "stdout");
  const auto number = [&](const char* name) { return power.at(name).to_number<double>(); };
  EXPECT_NEAR(number("frequency_Hz"), 50.0, 0.01);
  EXPECT_LT(number("power_factor"), 0.75);
  EXPECT_GT(number("current_thd_pct"), 80.0);
  const std::vector<std::string> lines = [&] {
    std::istringstream in(played.out);
    std::vector<std::string> all;
    for (std::string line; std::getline(in, line);)
      if (!line.starts_with("#")) all.push_back(line);
    return all;
  }();
  const std::vector<std::string> names = cells(lines.front());
  const auto at = static_cast<std::size_t>(
      std::find(names.begin(), names.end(), "true_inverter_output_W") - names.begin());
  // The instruments are off by their spreads: 0.3 % of each.
  EXPECT_NEAR(number("active_power_W") / std::stod(cells(lines.back()).at(at)), 1.0, 0.015);
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
