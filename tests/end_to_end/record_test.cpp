// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

json::value answer(const std::vector<std::string>& words, const fs::path& folder, int exit_code) {
  const Ended ended = windwright(words, folder);
  EXPECT_EQ(ended.exit_code, exit_code) << ended.err;
  return base::json_from_text(ended.out, "stdout");
}

double number(const json::value& document, const char* key) {
  return document.at(key).to_number<double>();
}

json::value view(const fs::path& folder, std::vector<std::string> more) {
  std::vector<std::string> words{"view", "all.h5", "--json"};
  words.insert(words.end(), more.begin(), more.end());
  return answer(words, folder, 0);
}

TEST(Record, WritesEverySampleAndViewShowsThem) {
  const fs::path folder = bench_folder("record");
  const json::value told =
      answer({"record", "bench.toml", "--reason", "a test", "--seconds", "40", "--set",
              "load_selector=rheostat", "--set", "fan_pct=60", "--into", "all.h5", "--json"},
             folder, 0);
  EXPECT_EQ(number(told, "samples"), 40'000);
  EXPECT_EQ(number(told, "gaps"), 0);
  const json::value all = view(folder, {"--channel", "rotor_speed_rad_s", "--bins", "7"});
  EXPECT_EQ(all.at("unit").as_string(), "V");  // no certificate yet
  EXPECT_FALSE(all.at("calibrated").as_bool());
  EXPECT_EQ(number(all, "from_s"), 0.0);
  EXPECT_EQ(number(all, "to_s"), 40.0);
  double samples = 0.0;
  double sum = 0.0;
  for (const json::value& bin : all.at("bins").as_array()) {
    samples += number(bin, "count");
    sum += number(bin, "count") * number(bin, "mean");
    EXPECT_LE(number(bin, "min"), number(bin, "mean"));
    EXPECT_GE(number(bin, "max"), number(bin, "mean"));
  }
  EXPECT_EQ(samples, 40'000);
  EXPECT_NEAR(sum / samples, number(all.at("window"), "mean"), 1e-9);

  // One sample a bin is the sample itself; the same window in other bins has the same ends.
  const json::value fine = view(
      folder, {"--channel", "rotor_speed_rad_s", "--from", "30", "--to", "30.05", "--bins", "500"});
  ASSERT_EQ(fine.at("bins").as_array().size(), 50U);
  EXPECT_EQ(number(fine.at("bins").at(3), "t_s"), 30.003);
  EXPECT_EQ(number(fine.at("bins").at(3), "deviation"), 0.0);
  const json::value coarse = view(
      folder, {"--channel", "rotor_speed_rad_s", "--from", "30", "--to", "30.05", "--bins", "1"});
  for (const char* figure : {"min", "max", "mean", "deviation"})
    EXPECT_NEAR(number(fine.at("window"), figure), number(coarse.at("window"), figure), 1e-9);
}

TEST(Record, GivesTheSameSamplesTwiceAndReplaysThem) {
  const fs::path folder = bench_folder("record-replay");
  for (const char* file : {"all.h5", "again.h5"})
    answer({"record", "bench.toml", "--reason", "a test", "--seconds", "10", "--set", "fan_pct=80",
            "--into", file, "--json"},
           folder, 0);
  write_text(folder / "replay.toml", text_of(folder / "bench.toml") +
                                         "\n[device]\nkind = \"replay\"\nrecording = \"all.h5\"\n");
  answer({"record", "replay.toml", "--seconds", "10", "--into", "replayed.h5", "--json"}, folder,
         0);
  const auto shown = [&](const char* file) {
    return windwright({"view", file, "--channel", "air_speed_m_s", "--bins", "3000"}, folder).out;
  };
  EXPECT_EQ(shown("all.h5"), shown("again.h5"));
  EXPECT_EQ(shown("all.h5"), shown("replayed.h5"));
  // The recording is over after ten seconds: a fault of the device, and what came is kept.
  const Ended longer =
      windwright({"record", "replay.toml", "--seconds", "11", "--into", "longer.h5"}, folder);
  EXPECT_EQ(longer.exit_code, 3) << longer.err;
  EXPECT_NE(longer.err.find("ends here"), std::string::npos) << longer.err;
  EXPECT_EQ(shown("longer.h5"), shown("all.h5"));
}

TEST(Record, KeepsWhatLiesAroundATrigger) {
  const fs::path folder = bench_folder("record-trigger");
  const json::value told =
      answer({"record", "bench.toml", "--reason", "a test", "--seconds", "60", "--set",
              "fan_pct=60", "--trigger", "rotor_speed_rad_s", "--rising", "1.5", "--before", "2",
              "--after", "3", "--into", "all.h5", "--json"},
             folder, 0);
  EXPECT_EQ(number(told, "samples"), 5'000);
  EXPECT_EQ(number(told, "trigger_s"), 2.0);
  const json::value at = view(folder, {"--channel", "rotor_speed_rad_s", "--from", "1.999", "--to",
                                       "2.001", "--bins", "2"});
  EXPECT_LE(number(at.at("bins").at(0), "mean"), 1.5);
  EXPECT_GT(number(at.at("bins").at(1), "mean"), 1.5);
  // --seconds says how long to wait for the trigger, not for what comes after it.
  const json::value late = answer({"record", "bench.toml", "--reason", "a test", "--seconds", "0.2",
                                   "--trigger", "air_temperature_C", "--above", "0", "--before",
                                   "0", "--after", "1.5", "--into", "late.h5", "--json"},
                                  folder, 0);
  EXPECT_EQ(number(late, "samples"), 1'500);
  const json::value never =
      answer({"record", "bench.toml", "--reason", "a test", "--seconds", "5", "--trigger",
              "rotor_speed_rad_s", "--above", "9", "--into", "never.h5", "--json"},
             folder, 1);
  EXPECT_FALSE(never.at("triggered").as_bool());
  EXPECT_FALSE(fs::exists(folder / "never.h5"));
}

TEST(Record, DrawsAWindow) {
  const fs::path folder = bench_folder("record-chart");
  answer({"record", "bench.toml", "--reason", "a test", "--seconds", "3", "--into", "all.h5",
          "--json"},
         folder, 0);
  const Ended drawn =
      windwright({"view", "all.h5", "--channel", "dc_voltage_V", "--chart", "w.svg"}, folder);
  EXPECT_EQ(drawn.exit_code, 0) << drawn.err;
  EXPECT_EQ(drawn.out, "");
  EXPECT_NE(text_of(folder / "w.svg").find("dc_voltage_V"), std::string::npos);
}

struct Refused {
  std::vector<std::string> words;
  std::string says;
};

TEST(Record, RefusesBadInputInOneLineAndLeavesNothing) {
  const fs::path folder = bench_folder("record-refused");
  answer({"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--into", "all.h5",
          "--json"},
         folder, 0);
  write_text(folder / "text.h5", "no recording\n");
  write_text(folder / "card.toml",
             text_of(folder / "bench.toml") + "\n[device]\nkind = \"card\"\n");
  write_text(folder / "gone.toml", text_of(folder / "bench.toml") +
                                       "\n[device]\nkind = \"replay\"\nrecording = \"gone.h5\"\n");
  const std::vector<Refused> cases{
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--into", "all.h5"},
       "all.h5:1: exists"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--set", "fan", "--into",
        "x.h5"},
       "has no '='"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--set", "fan=1", "--into",
        "x.h5"},
       "actuator 'fan' is not on this bench"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--set",
        "load_selector=half", "--into", "x.h5"},
       "has no position 'half'"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--set", "fan_pct=101",
        "--into", "x.h5"},
       "101"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--trigger", "torque",
        "--above", "1", "--into", "x.h5"},
       "no channel 'torque'"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--trigger", "dc_voltage_V",
        "--into", "x.h5"},
       "has no condition"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--trigger", "dc_voltage_V",
        "--above", "1", "--below", "0", "--into", "x.h5"},
       "second condition"},
      {{"record", "bench.toml", "--reason", "a test", "--seconds", "1", "--trigger", "dc_voltage_V",
        "--above", "1", "--before", "0", "--after", "0", "--into", "x.h5"},
       "--before and --after: keep 0 s: a sample at least"},
      {{"record", "card.toml", "--seconds", "1", "--into", "x.h5"}, "device kind 'card'"},
      {{"record", "gone.toml", "--seconds", "1", "--into", "x.h5"}, "gone.h5:1: cannot be opened"},
      {{"view", "gone.h5", "--channel", "dc_voltage_V"}, "gone.h5:1: cannot be opened"},
      {{"view", "text.h5", "--channel", "dc_voltage_V"}, "text.h5:1: cannot be opened"},
      {{"view", "all.h5", "--channel", "torque_N_m"}, "has no channel 'torque_N_m'"},
      {{"view", "all.h5", "--channel", "dc_voltage_V", "--bins", "0"}, "--bins"},
      {{"view", "all.h5", "--channel", "dc_voltage_V", "--from", "2"}, "between 0 and 1"},
      {{"view", "all.h5", "--channel", "dc_voltage_V", "--from", "0.5", "--to", "0.2"},
       "not after --from"}};
  for (const Refused& refused : cases) {
    SCOPED_TRACE(refused.says);
    const Ended ended = windwright(refused.words, folder);
    EXPECT_EQ(ended.exit_code, 2) << ended.out;
    EXPECT_EQ(ended.out, "");
    EXPECT_EQ(std::count(ended.err.begin(), ended.err.end(), '\n'), 1) << ended.err;
    EXPECT_NE(ended.err.find(refused.says), std::string::npos) << ended.err;
    EXPECT_FALSE(fs::exists(folder / "x.h5"));
  }
}

}  // namespace
}  // namespace windwright::end_to_end
