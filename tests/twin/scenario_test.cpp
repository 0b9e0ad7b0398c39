// SPDX-License-Identifier: Apache-2.0
#include "twin/scenario.h"

#include "base/errors.h"
#include "base/files.h"
#include "twin/demo_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
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
      {"", 1, "no step and no wind"},
      {"[[wind]]\nat_s = 0\n", 2, "'air_speed_m_s' is missing"},
      {"[[wind]]\nat_s = 0\nair_speed_m_s = 61\n", 4, "at most 60"},
      {"[[wind]]\nat_s = 0\nramp_s = 1\nair_speed_m_s = 5\n", 4, "nothing to rise from"},
      {"[[wind]]\nat_s = 5\nair_speed_m_s = 5\n[[wind]]\nat_s = 4\nair_speed_m_s = 6\n", 6,
       "before the wind above it"},
      {"wind_file = \"none.csv\"\n", 2, "none.csv"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 0\nkind = \"gremlin\"\n", 6, "no fault 'gremlin'"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 3\nuntil_s = 3\nkind = \"worn_bearing\"\n", 6,
       "ends before it begins"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 3\nkind = \"loose_clamp\"\nchannel = "
       "\"dc_voltage_V\"\n",
       7, "'dc_voltage_V' cannot have this fault"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 3\nkind = \"drifted_sensor\"\nchannel = "
       "\"dc_voltage_V\"\n",
       4, "'drift' is missing"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 3\nkind = \"lost_sensor\"\nchannel = "
       "\"dc_voltage_V\"\nend = \"left\"\n",
       8, "no end 'left'"},
      {"[[step]]\nat_s = 0\n[[fault]]\nat_s = 3\nkind = \"stuck_actuator\"\nactuator = "
       "\"blade_count\"\n",
       7, "'blade_count' cannot be stuck"},
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

TEST(Scenario, WindTakesThePlaceOfTheFan) {
  const auto file = written(
      "schema = 1\n[[wind]]\nat_s = 2\nair_speed_m_s = 6\n[[wind]]\nat_s = 10\nramp_s = 4\n"
      "air_speed_m_s = 9\n[[wind]]\nat_s = 20\nair_speed_m_s = 5\n");
  const auto rows = rows_of(calm_bench(), scenario_from_file(file, calm_bench()),
                            {.seconds = 24.0, .every_s = 1.0});
  ASSERT_EQ(rows.size(), 25U);
  const auto air_speed_m_s = [&](std::size_t at_s) { return rows[at_s].truth.at("air_speed_m_s"); };
  EXPECT_EQ(air_speed_m_s(1), 0.0);
  EXPECT_NEAR(air_speed_m_s(2), 6.0, 1e-9);
  EXPECT_NEAR(air_speed_m_s(10), 6.0, 1e-9);
  EXPECT_NEAR(air_speed_m_s(13), 8.25, 1e-9);
  EXPECT_NEAR(air_speed_m_s(19), 9.0, 1e-9);
  EXPECT_NEAR(air_speed_m_s(20), 5.0, 1e-9);
  EXPECT_NEAR(air_speed_m_s(24), 5.0, 1e-9);
}

TEST(Scenario, WindComesFromATable) {
  const auto file = written("schema = 1\nwind_file = \"WindComesFromATable.csv\"\n");
  base::write_whole(file.parent_path() / "WindComesFromATable.csv",
                    "time_s,air_speed_m_s\n0,5\n2,8\n3,8\n4,6\n");
  const auto rows = rows_of(calm_bench(), scenario_from_file(file, calm_bench()),
                            {.seconds = 6.0, .every_s = 0.5});
  const std::vector<double> wanted_m_s{5, 5.75, 6.5, 7.25, 8, 8, 8, 7, 6, 6, 6, 6, 6};
  ASSERT_EQ(rows.size(), wanted_m_s.size());
  for (std::size_t i = 0; i < rows.size(); ++i)
    EXPECT_NEAR(rows[i].truth.at("air_speed_m_s"), wanted_m_s[i], 1e-9) << i;
}

// Rows of ten seconds in a steady wind with a fault from 6 to 8 s.
std::vector<ScenarioRow> rows_with(const bench::Bench& bench, const Fault& fault) {
  const Scenario scenario{.steps = {{.at_s = 0.0,
                                     .commands = {{.actuator = "load_selector", .value = 1.0},
                                                  {.actuator = "rheostat_ohm", .value = 15.0},
                                                  {.actuator = "fan_pct", .value = 60.0}}}},
                          .faults = {{.at_s = 26.0, .until_s = 28.0, .fault = fault}}};
  auto rows = rows_of(bench, scenario, {.seconds = 30.0, .every_s = 0.05});
  rows.erase(rows.begin(), rows.begin() + 400);
  return rows;
}

TEST(Scenario, FaultsOfSensorsShowInTheirChannelAlone) {
  const bench::Bench bench = calm_bench();
  const auto whole = rows_with(bench, {.kind = FaultKind::worn_bearing, .amount = 1.0});
  struct Case {
    Fault fault;
    double low;  // mean shown over mean without the fault
    double high;
  };
  const std::vector<Case> cases{
      {{.kind = FaultKind::drifted_sensor, .channel = "dc_current_A", .amount = 0.5}, 1.2, 1.6},
      {{.kind = FaultKind::loose_clamp, .channel = "dc_current_A", .amount = 0.3}, 0.6, 0.8},
      {{.kind = FaultKind::swapped_polarity, .channel = "dc_current_A"}, -0.1, 0.1},
      {{.kind = FaultKind::stuck_sensor, .channel = "dc_current_A"}, 0.97, 1.03}};
  const std::size_t channel = bench.channel_index("dc_current_A");
  for (const Case& c : cases) {
    const auto rows = rows_with(bench, c.fault);
    ASSERT_EQ(rows.size(), whole.size());
    double shown = 0.0;
    double expected = 0.0;
    double steps = 0.0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      for (std::size_t k = 0; k < bench.channels.size(); ++k) {
        if (k != channel) {
          ASSERT_EQ(rows[i].shown[k], whole[i].shown[k]);
        }
      }
      ASSERT_EQ(rows[i].truth, whole[i].truth);
      if (rows[i].time_s < 26.0 || rows[i].time_s >= 28.06) {
        ASSERT_EQ(rows[i].shown[channel], whole[i].shown[channel]) << rows[i].time_s;
      } else if (rows[i].time_s < 27.99) {
        shown += rows[i].shown[channel];
        expected += whole[i].shown[channel];
        steps += std::abs(rows[i].shown[channel] - rows[i - 1].shown[channel]);
      }
    }
    EXPECT_GT(shown / expected, c.low) << c.fault.amount;
    EXPECT_LT(shown / expected, c.high) << c.fault.amount;
    if (c.fault.kind == FaultKind::stuck_sensor) {
      EXPECT_EQ(steps, std::abs(rows[120].shown[channel] - rows[119].shown[channel]));
    }
  }
}

TEST(Scenario, TheDemoFaultsRead) {
  const Scenario scenario =
      scenario_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/faults.toml", demo_bench());
  ASSERT_EQ(scenario.faults.size(), 6U);
  EXPECT_EQ(scenario.faults[1].fault.channel, "dc_current_A");
  EXPECT_EQ(scenario.faults[2].fault.amount, 0.6);
  EXPECT_EQ(scenario.faults[5].until_s, 110.0);
}

std::string complaint_about(const std::string& faults, const bench::Bench& bench) {
  try {
    scenario_from_file(written("schema = 1\n[[step]]\nat_s = 0\n" + faults), bench);
    return "";
  } catch (const base::BadInput& error) {
    return error.what();
  }
}

TEST(Scenario, OnlyWhatHasASignCanBeSwapped) {
  const bench::Bench bench = shed_bench();
  const auto swapped = [&](const std::string& channel) {
    return complaint_about(
        "[[fault]]\nat_s = 1\nkind = \"swapped_polarity\"\nchannel = \"" + channel + "\"\n", bench);
  };
  for (const char* channel : {"inverter_output_rms_V", "inverter_output_rms_A"}) {
    EXPECT_NE(
        swapped(channel).find(fmt::format(":7: channel '{}' cannot have this fault", channel)),
        std::string::npos)
        << swapped(channel);
  }
  for (const char* channel : {"inverter_output_W", "battery_current_A", "battery_voltage_V"})
    EXPECT_EQ(swapped(channel), "");
}

TEST(Scenario, TwoFaultsOfOneChannelMayFollowButNotOverlap) {
  const bench::Bench bench = shed_bench();
  const auto two = [&](const std::string& second_at_s, const std::string& channel) {
    return complaint_about(
        "[[fault]]\nat_s = 1\nuntil_s = 3\nkind = \"stuck_sensor\"\nchannel = "
        "\"dc_current_A\"\n[[fault]]\nat_s = " +
            second_at_s + "\nkind = \"swapped_polarity\"\nchannel = \"" + channel + "\"\n",
        bench);
  };
  EXPECT_NE(two("2", "dc_current_A").find("a fault that does not overlap 1 to 3"),
            std::string::npos)
      << two("2", "dc_current_A");
  EXPECT_EQ(two("3", "dc_current_A"), "");
  EXPECT_EQ(two("2", "battery_current_A"), "");
}

// Mean of what a channel shows between two times of the example's faults.
double shown_mean(const std::vector<ScenarioRow>& rows, std::size_t channel, double from_s,
                  double to_s) {
  double sum = 0.0;
  int count = 0;
  for (const ScenarioRow& row : rows) {
    if (row.time_s < from_s || row.time_s > to_s) continue;
    sum += row.shown[channel];
    ++count;
  }
  return sum / count;
}

// The sag alone, before the inverter gives up because of it.
TEST(Scenario, TheShedsWeakCellSagsUnderLoadUntilTheInverterStops) {
  const bench::Bench bench = shed_bench();
  Scenario scenario =
      scenario_from_file(SOURCE_FOLDER "/examples/saltmarsh-shed/faults.toml", bench);
  const ScenarioPace pace{.seconds = 89.0, .every_s = 0.1, .from_s = 76.0};
  const auto weak = rows_of(bench, scenario, pace);
  std::erase_if(scenario.faults, [](const ScenarioFault& each) {
    return each.fault.kind == FaultKind::sulphated_cell;
  });
  const auto sound = rows_of(bench, scenario, pace);
  ASSERT_EQ(weak.front().time_s, 76.0);
  const std::size_t volts = bench.channel_index("battery_voltage_V");
  const auto sag_V = [&](double from_s, double to_s) {
    return shown_mean(sound, volts, from_s, to_s) - shown_mean(weak, volts, from_s, to_s);
  };
  EXPECT_EQ(sag_V(76.0, 79.9), 0.0);
  EXPECT_GT(sag_V(80.1, 81.5), 0.5);
  const std::size_t current = bench.channel_index("battery_current_A");
  EXPECT_NEAR(shown_mean(weak, current, 80.1, 81.5) / shown_mean(sound, current, 80.1, 81.5), 1.0,
              0.2);
  const std::size_t output = bench.channel_index("inverter_output_rms_V");
  EXPECT_LT(shown_mean(weak, output, 85.0, 89.0), 5.0);
  EXPECT_GT(shown_mean(sound, output, 85.0, 89.0), 200.0);
}

TEST(Scenario, AWornBearingAndABlockedFanShowInTheMachine) {
  const bench::Bench bench = calm_bench();
  const auto worn = rows_with(bench, {.kind = FaultKind::worn_bearing, .amount = 5.0});
  EXPECT_NEAR(worn[121].truth.at("bearing_loss_W") / worn[119].truth.at("bearing_loss_W"), 5.0,
              0.2);
  EXPECT_LT(worn[159].truth.at("rotor_speed_rad_s"), worn[119].truth.at("rotor_speed_rad_s"));
  const auto blocked = rows_with(bench, {.kind = FaultKind::blocked_fan, .amount = 0.6});
  const double lag = std::exp(-2.0 / bench.tunnel.time_constant_s);
  EXPECT_NEAR(blocked[160].truth.at("air_speed_m_s"), 8.4 * (0.4 + 0.6 * lag), 1e-3);
}

TEST(Scenario, RowsComeAtWholeSamplesOnly) {
  const Scenario scenario{.steps = {{.at_s = 0.0, .commands = {}}}};
  EXPECT_THROW(rows_of(demo_bench(), scenario, {.seconds = 1.0, .every_s = 0.00015}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::twin
