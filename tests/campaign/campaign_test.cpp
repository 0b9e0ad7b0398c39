// SPDX-License-Identifier: Apache-2.0
#include "campaign/campaign.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/bench.h"
#include "campaign/bench_in_test.h"

#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace windwright::campaign {
namespace {

const std::string good = R"(schema = 1
title = "A test"
bench = "bench.toml"
operator = "nobody"
seed = 3
repeats = 2
[question]
text = "Which?"
response = "maximum_cp"
factors = ["blade_count"]
level_pct = 95
[[factor]]
actuator = "blade_count"
levels = [2, 3]
hard_to_change = true
[[factor]]
actuator = "rheostat_ohm"
levels = [5, 10, 20]
[constants]
fan_pct = 70
pitch_deg = 5
load_selector = "rheostat"
[pace]
settle_window_s = 2
settle_drift_pct = 1
longest_settle_s = 20
shortest_dwell_s = 6
longest_dwell_s = 12
target_u_pct = 0.5
)";

bench::Bench small_bench() {
  bench::Bench bench{};
  bench.block_s = 0.1;
  const auto add = [&bench](const std::string& name, double lowest, double highest) {
    bench::Actuator actuator{};
    actuator.name = name;
    actuator.long_name = name;
    actuator.lowest = lowest;
    actuator.highest = highest;
    bench.actuators.push_back(actuator);
  };
  add("fan_pct", 0, 100);
  add("load_selector", 0, 1);
  bench.actuators.back().positions = {"none", "rheostat"};
  add("rheostat_ohm", 2, 100);
  add("blade_count", 2, 3);
  bench.actuators.back().manual = true;
  add("pitch_deg", 0, 20);
  bench.actuators.back().manual = true;
  return bench;
}

Campaign campaign_of(const std::string& text) {
  const auto folder = fresh_folder();
  base::write_whole(folder / "bench.toml", "only its name matters here\n");
  base::write_whole(folder / "campaign.toml", text);
  return campaign_from_file(folder / "campaign.toml");
}

TEST(Campaign, HoldsWhatItsFileSays) {
  const Campaign campaign = campaign_of(good);
  EXPECT_EQ(campaign.title, "A test");
  EXPECT_EQ(campaign.operator_name, "nobody");
  EXPECT_EQ(campaign.bench_file.filename(), "bench.toml");
  EXPECT_TRUE(campaign.bench_file.is_absolute());
  EXPECT_EQ(campaign.text, good);
  EXPECT_EQ(campaign.seed, 3U);
  EXPECT_DOUBLE_EQ(campaign.question.level, 0.95);
  EXPECT_DOUBLE_EQ(campaign.pace.settle_drift_relative, 0.01);
  EXPECT_DOUBLE_EQ(campaign.pace.target_u_relative, 0.005);
  ASSERT_EQ(campaign.constants.size(), 3U);
  EXPECT_NO_THROW(require_fits(campaign, small_bench()));
  EXPECT_EQ(commanded_value(campaign.constants[0], small_bench()), 70.0);
  EXPECT_EQ(commanded_value(campaign.constants[2], small_bench()), 1.0);
}

TEST(Campaign, TakesAnotherBenchWithoutLookingForItsOwn) {
  const auto folder = fresh_folder();
  base::write_whole(folder / "campaign.toml", good);
  EXPECT_THROW(campaign_from_file(folder / "campaign.toml"), base::BadInput);
  EXPECT_EQ(campaign_from_file(folder / "campaign.toml", "/elsewhere/b.toml").bench_file,
            "/elsewhere/b.toml");
}

struct Broken {
  const char* from;
  const char* to;
  const char* message;  // after the folder
};

TEST(Campaign, SaysWhereAndWhatIsWrongAndWhatWouldBeRight) {
  const std::vector<Broken> all = {
      {"repeats = 2", "repeats = 0", "campaign.toml:6: repeats is 0: "},
      {"bench = \"bench.toml\"", "bench = \"../bench.toml\"",
       "campaign.toml:3: path '../bench.toml' leads outside the campaign's folder: "},
      {"levels = [2, 3]", "levels = [2, 3, 2]",
       "campaign.toml:14: level 2 of blade_count is there twice: "},
      {"levels = [2, 3]", "levels = []", "campaign.toml:14: levels is an empty list: "},
      {"levels = [2, 3]", "levels = [2, nan]", "campaign.toml:14: levels is nan: "},
      {"\"rheostat_ohm\"", "\"blade_count\"", "campaign.toml:17: factor 'blade_count' is there "},
      {"pitch_deg = 5", "blade_count = 3",
       "campaign.toml:21: 'blade_count' is a factor as well: either a factor or a constant"},
      {"factors = [\"blade_count\"]", "factors = [\"rheostat_ohm\"]",
       "campaign.toml:10: 'rheostat_ohm' is not a hard-to-change factor with two levels or more: "
       "blade_count, each once"},
      {"levels = [2, 3]", "levels = [2]", "campaign.toml:10: 'blade_count' is not a hard-to-"},
      {"\"maximum_cp\"", "\"most\"", "campaign.toml:9: response 'most' is not known: "},
      {"level_pct = 95", "level_pct = 0.95", "campaign.toml:11: level_pct is 0.95: "},
      {"longest_dwell_s = 12", "longest_dwell_s = 5",
       "campaign.toml:28: longest_dwell_s is 5: at least shortest_dwell_s, 6"},
      {"longest_settle_s = 20", "longest_settle_s = 1", "campaign.toml:26: longest_settle_s is 1"},
      {"target_u_pct", "target_pct", "campaign.toml:23: key 'target_u_pct' is missing in [pace]"},
      {"title", "titel = \"x\"\ntitle", "campaign.toml:2: key 'titel' is not known here: 'title'"},
      {"[5, 10, 20]", "[5, 10]",
       "campaign.toml:12: a block has 2 different settings, too few for a maximum: "},
      {"[pace]", "[run_up]\nbrake_N = 1\n[pace]",
       "campaign.toml:24: 'brake_N' is no factor and no constant: "},
      {"repeats = 2", "repeats = 1000\nx = 1", "campaign.toml:7: key 'x' is not known here: "},
  };
  for (const Broken& broken : all) {
    try {
      campaign_of(with(good, broken.from, broken.to));
      FAIL() << broken.to;
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find(broken.message), std::string::npos)
          << error.what() << "\nbut should say\n"
          << broken.message;
    }
  }
}

TEST(Campaign, MustFitTheBench) {
  const std::vector<Broken> all = {
      {"[5, 10, 20]", "[1, 10, 20]",
       "campaign.toml:18: rheostat_ohm is 1: a value from 2 to 100, the actuator's limits"},
      {"levels = [2, 3]", "levels = [2, 2.5]", "campaign.toml:14: blade_count is 2.5: a whole"},
      {"\"rheostat_ohm\"", "\"brake_N\"", "campaign.toml:18: the bench has no actuator 'brake_N'"},
      {"fan_pct = 70\n", "", "campaign.toml:1: nothing says where fan_pct (fan_pct) shall stand: "},
      {"fan_pct = 70", "fan_pct = 101", "campaign.toml:20: fan_pct is 101: a value from 0 to 100"},
      {"\"rheostat\"\n[pace]", "\"lamp\"\n[pace]",
       "campaign.toml:22: load_selector has no position 'lamp': none or rheostat"},
      {"[pace]", "[run_up]\nrheostat_ohm = 200\n[pace]",
       "campaign.toml:24: rheostat_ohm is 200: a value from 2 to 100"},
      {"[pace]", "[run_up]\npitch_deg = 20\n[pace]",
       "campaign.toml:24: pitch_deg is changed by hand: "},
      {"settle_window_s = 2", "settle_window_s = 0.5",
       "campaign.toml:24: settle_window_s is 0.5: at least 0.6, six"},
  };
  for (const Broken& broken : all) {
    try {
      require_fits(campaign_of(with(good, broken.from, broken.to)), small_bench());
      FAIL() << broken.to;
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find(broken.message), std::string::npos)
          << error.what() << "\nbut should say\n"
          << broken.message;
    }
  }
}

// Six times 0.1 is above 0.6 in binary.
TEST(Campaign, TakesAWindowOfJustSixBlocks) {
  EXPECT_NO_THROW(require_fits(
      campaign_of(with(good, "settle_window_s = 2", "settle_window_s = 0.6")), small_bench()));
}

TEST(Campaign, ChangesByHandOnlyBetweenBlocks) {
  bench::Bench bench = small_bench();
  bench.actuators[2].manual = true;
  try {
    require_fits(campaign_of(good), bench);
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("campaign.toml:18: rheostat_ohm is changed by hand"),
              std::string::npos)
        << error.what();
  }
}

std::vector<double> values(const PlannedPoint& point) {
  std::vector<double> found;
  for (const Setting& setting : point.settings)
    found.push_back(setting.value);
  return found;
}

TEST(Plan, HasEveryCombinationAsOftenAsAsked) {
  std::map<std::vector<double>, std::vector<int>> repeats;
  const auto points = plan(campaign_of(good));
  for (std::size_t i = 0; i < points.size(); ++i) {
    EXPECT_EQ(points[i].number, static_cast<int>(i) + 1);
    EXPECT_EQ(points[i].settings[0].actuator, "blade_count");
    EXPECT_EQ(points[i].settings[1].actuator, "rheostat_ohm");
    repeats[values(points[i])].push_back(points[i].repeat);
  }
  EXPECT_EQ(repeats.size(), 6U);
  for (const auto& [setting, numbers] : repeats)
    EXPECT_EQ(numbers, (std::vector<int>{1, 2}));
}

TEST(Plan, ChangesHardFactorsOnlyBetweenBlocks) {
  const auto points = plan(campaign_of(good));
  std::map<int, std::set<double>> blades;
  for (std::size_t i = 0; i < points.size(); ++i) {
    blades[points[i].block].insert(points[i].settings[0].value);
    if (i > 0) {
      EXPECT_GE(points[i].block, points[i - 1].block);
    }
  }
  ASSERT_EQ(blades.size(), 2U);
  for (const auto& [block, levels] : blades)
    EXPECT_EQ(levels.size(), 1U);
  EXPECT_NE(blades.at(1), blades.at(2));
}

TEST(Plan, DependsOnTheSeedAlone) {
  Campaign campaign = campaign_of(good);
  const auto order = [&campaign] {
    std::vector<std::vector<double>> all;
    for (const PlannedPoint& point : plan(campaign))
      all.push_back(values(point));
    return all;
  };
  const auto first = order();
  EXPECT_EQ(first, order());
  std::set<std::vector<std::vector<double>>> different;
  for (std::uint64_t seed = 0; seed < 50; ++seed) {
    campaign.seed = seed;
    different.insert(order());
  }
  EXPECT_GT(different.size(), 45U);
}

// Each of the 3! orders of three levels is as likely as the others: chi-squared with 5 degrees of
// freedom stays below 20.5, its 99.9 % point (NIST/SEMATECH e-Handbook of Statistical Methods,
// table 1.3.6.7.4: 20.515).
TEST(Plan, PrefersNoOrder) {
  Campaign campaign = campaign_of(with(good, "repeats = 2", "repeats = 1"));
  std::map<std::vector<double>, double> orders;
  constexpr int plans = 3000;
  for (int seed = 0; seed < plans; ++seed) {
    campaign.seed = static_cast<std::uint64_t>(seed);
    std::vector<double> order;
    for (const PlannedPoint& point : plan(campaign)) {
      if (point.block == 1) order.push_back(point.settings[1].value);
    }
    ++orders[order];
  }
  ASSERT_EQ(orders.size(), 6U);
  double chi_squared = 0.0;
  for (const auto& [order, count] : orders)
    chi_squared += std::pow(count - plans / 6.0, 2) / (plans / 6.0);
  EXPECT_LT(chi_squared, 20.515);
}

}  // namespace
}  // namespace windwright::campaign
