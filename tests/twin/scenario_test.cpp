// SPDX-License-Identifier: Apache-2.0
#include "twin/scenario.h"

#include "base/errors.h"
#include "base/files.h"
#include "twin/demo_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

std::filesystem::path written(const std::string& text) {
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "scratch" / "scenario";
  std::filesystem::create_directories(folder);
  const auto file =
      folder /
      fmt::format("{}.toml", testing::UnitTest::GetInstance()->current_test_info()->name());
  base::write_whole(file, text);
  return file;
}

std::vector<ScenarioRow> rows_of(const bench::Bench& bench, const Scenario& scenario,
                                 const ScenarioPace& pace) {
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  const std::vector<std::optional<metrology::Certificate>> none(bench.channels.size());
  std::vector<ScenarioRow> rows;
  play(device, bench, scenario, none, pace, [&](const ScenarioRow& row) { rows.push_back(row); });
  return rows;
}

TEST(Scenario, TheDemoReadsInTheOrderOfTheFile) {
  const Scenario scenario =
      scenario_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/scenario.toml", demo_bench());
  ASSERT_EQ(scenario.steps.size(), 5U);
  EXPECT_EQ(scenario.steps[0].commands[0].actuator, "load_selector");
  EXPECT_EQ(scenario.steps[0].commands[0].value, 0.0);
  EXPECT_EQ(scenario.steps[0].commands[2].actuator, "fan_pct");
  EXPECT_EQ(scenario.steps[0].commands[2].value, 60.0);
  EXPECT_EQ(scenario.steps[1].commands[0].value, 1.0);
}

TEST(Scenario, EverySpoiltLineIsFoundAndNamed) {
  struct Case {
    std::string text;  // after the schema
    int line;
    std::string complaint;
  };
  const std::vector<Case> cases{
      {"", 1, "no step"},
      {"[[step]]\nfan_pct = 10\n", 2, "'at_s' is missing"},
      {"[[step]]\nat_s = -1\n", 3, "at least 0"},
      {"[[step]]\nat_s = 2\n[[step]]\nat_s = 1\n", 5, "before the step above"},
      {"[[step]]\nat_s = 0\nfan_pct = 101\n", 4, "at most 100"},
      {"[[step]]\nat_s = 0\nload_selector = 1\n", 4, "text in quotes"},
      {"[[step]]\nat_s = 0\nload_selector = \"heater\"\n", 4, "no position 'heater'"},
      {"[[step]]\nat_s = 0\nblade_count = 2.5\n", 4, "a whole number of blades"},
      {"[[step]]\nat_s = 0\nfan_pc = 50\n", 4, "'fan_pct'"},
      {"[[step]]\nat_s = 0\n[[gust]]\nat_s = 1\nduration_s = 2\n", 4, "'amplitude_m_s' is missing"},
      {"[[step]]\nat_s = 0\n[[gust]]\nat_s = 1\nduration_s = 0\namplitude_m_s = 1\n", 6,
       "at least 0.01"},
      {"[[step]]\nat_s = 0\n[[gust]]\nat_s = 1\nduration_s = 2\namplitude_m_s = 1\nshape = "
       "\"square\"\n",
       8, "no gust 'square'"},
      {"[[step]]\nat_s = 0\n[[gust]]\nat_s = 1\nduration_s = 2\namplitude_m_s = 1\n[[gust]]\nat_s "
       "= 2.5\nduration_s = 2\namplitude_m_s = 1\n",
       9, "still blows"},
  };
  const bench::Bench bench = demo_bench();
  for (const Case& spoilt : cases) {
    const auto file = written("schema = 1\n" + spoilt.text);
    try {
      scenario_from_file(file, bench);
      ADD_FAILURE() << "no complaint about " << spoilt.text;
    } catch (const base::BadInput& error) {
      const std::string said = error.what();
      EXPECT_NE(said.find(spoilt.complaint), std::string::npos) << said;
      EXPECT_TRUE(said.starts_with(fmt::format("{}:{}: ", file.string(), spoilt.line))) << said;
    }
  }
}

TEST(Scenario, StepsTakeEffectWhenTheyAreDue) {
  const Scenario scenario{
      .steps = {{.at_s = 0.0, .commands = {{.actuator = "fan_pct", .value = 70.0}}},
                {.at_s = 15.003,
                 .commands = {{.actuator = "load_selector", .value = 1.0},
                              {.actuator = "rheostat_ohm", .value = 20.0}}}}};
  const auto rows = rows_of(demo_bench(), scenario, {.seconds = 16.0, .every_s = 0.001});
  ASSERT_EQ(rows.size(), 16001U);
  for (std::size_t i = 0; i < rows.size(); ++i)
    ASSERT_NEAR(rows[i].time_s, 1e-3 * static_cast<double>(i), 1e-9);
  EXPECT_EQ(rows[15002].truth.at("dc_current_A"), 0.0);
  EXPECT_GT(rows[15003].truth.at("dc_current_A"), 0.5);
}

TEST(Scenario, GustsBlowWhenTheyAreDue) {
  const bench::Bench bench = calm_bench();
  const Scenario scenario{
      .steps = {{.at_s = 0.0, .commands = {{.actuator = "fan_pct", .value = 50.0}}}},
      .gusts = {{.at_s = 20.0,
                 .gust = {.shape = physics::GustShape::one_minus_cosine,
                          .duration_s = 2.0,
                          .amplitude_m_s = 3.0}},
                {.at_s = 23.0,
                 .gust = {.shape = physics::GustShape::extreme_operating,
                          .duration_s = 1.0,
                          .amplitude_m_s = 2.0}}}};
  const auto rows = rows_of(bench, scenario, {.seconds = 25.0, .every_s = 0.1});
  ASSERT_EQ(rows.size(), 251U);
  for (const ScenarioRow& row : rows) {
    if (row.time_s < 19.0) continue;
    const double calm_m_s = 7.0 * -std::expm1(-row.time_s / bench.tunnel.time_constant_s);
    double gust_m_s = 0.0;
    for (const ScenarioGust& gust : scenario.gusts)
      gust_m_s += physics::gust_m_s(gust.gust, row.time_s - gust.at_s);
    ASSERT_NEAR(row.truth.at("air_speed_m_s"), calm_m_s + gust_m_s, 1e-6) << row.time_s;
  }
  EXPECT_GT(rows[210].truth.at("air_speed_m_s"), 9.99);
}

TEST(Scenario, TheDemoGustRunsUpWhenTheLoadFallsOff) {
  const bench::Bench bench = demo_bench();
  const Scenario scenario =
      scenario_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/gust.toml", bench);
  ASSERT_EQ(scenario.gusts.size(), 2U);
  const auto rows = rows_of(bench, scenario, {.seconds = 40.0, .every_s = 1.0});
  const double loaded_rad_s = rows[31].truth.at("rotor_speed_rad_s");
  const double thrown_off_rad_s = rows[36].truth.at("rotor_speed_rad_s");
  EXPECT_GT(thrown_off_rad_s, 1.5 * loaded_rad_s);
  EXPECT_NEAR(rows[40].truth.at("rotor_speed_rad_s") / loaded_rad_s, 1.0, 0.03);
}

TEST(Scenario, SensorsShowWhatIsTrueUpToTheirErrors) {
  const Scenario scenario{.steps = {{.at_s = 0.0,
                                     .commands = {{.actuator = "load_selector", .value = 1.0},
                                                  {.actuator = "rheostat_ohm", .value = 20.0},
                                                  {.actuator = "fan_pct", .value = 80.0}}}}};
  const bench::Bench bench = demo_bench();
  const auto rows = rows_of(bench, scenario, {.seconds = 30.0, .every_s = 0.5});
  for (std::size_t i = 40; i < rows.size(); ++i) {
    for (const char* name :
         {"air_speed_m_s", "rotor_speed_rad_s", "dc_voltage_V", "dc_current_A"}) {
      const double shown = rows[i].shown[bench.channel_index(name)];
      EXPECT_NEAR(shown / rows[i].truth.at(name), 1.0, 0.05) << name << " at " << rows[i].time_s;
    }
  }
}

TEST(Scenario, AChangeOfBladesTakesItsTime) {
  const Scenario scenario{
      .steps = {{.at_s = 1.0, .commands = {{.actuator = "blade_count", .value = 2.0}}}}};
  const auto rows = rows_of(demo_bench(), scenario, {.seconds = 40.0, .every_s = 1.0});
  ASSERT_EQ(rows.size(), 1U + 10U);
  EXPECT_EQ(rows[0].time_s, 0.0);
  EXPECT_EQ(rows[1].time_s, 31.0);
  EXPECT_EQ(rows[1].truth.at("blade_count"), 2.0);
}

TEST(Scenario, RowsComeAtWholeSamplesOnly) {
  const Scenario scenario{.steps = {{.at_s = 0.0, .commands = {}}}};
  EXPECT_THROW(rows_of(demo_bench(), scenario, {.seconds = 1.0, .every_s = 0.00015}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::twin
