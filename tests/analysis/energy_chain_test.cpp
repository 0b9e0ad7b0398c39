// SPDX-License-Identifier: Apache-2.0
#include "analysis/energy_chain.h"

#include "analysis/synthetic_chain.h"
#include "base/errors.h"
#include "base/json.h"
#include "metrology/reconciliation.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

using metrology::Estimate;

Estimate watts(double value, const std::string& input, double u) {
  return Estimate(value, {{input, {u, std::numeric_limits<double>::infinity()}}});
}

// AC power, the bridge's modelled loss, DC power; the shaft is left to the balances.
ChainWindow bridge(double ac_W, double dc_W) {
  return {
      .label = "steady",
      .stages = {{.name = "wind"},
                 {.name = "rotor", .lost = StagePart::unknown()},
                 {.name = "generator", .lost = StagePart::of(watts(10.0, "generator:loss", 0.5))},
                 {.name = "rectifier", .lost = StagePart::of(watts(5.0, "bridge:loss", 0.25))},
                 {.name = "DC load"}},
      .flows = {{.from = "wind", .to = "rotor", .readings_W = {watts(300.0, "wind:all", 6.0)}},
                {.from = "rotor", .to = "generator"},
                {.from = "generator",
                 .to = "rectifier",
                 .readings_W = {watts(ac_W, "ac_power_W:gain", 0.5)}},
                {.from = "rectifier",
                 .to = "DC load",
                 .readings_W = {watts(dc_W, "dc_power_W:gain", 0.2)}}}};
}
const ChainOptions two_meters{.channels = {"ac_power_W", "dc_power_W"}};

TEST(EnergyChain, SolvesForStagesThatNothingMeasures) {
  const ChainStudy study = study_energy_chain({bridge(100.0, 94.5)}, two_meters);
  const EnergyChain& chain = study.windows.at(0);
  ASSERT_TRUE(study.global.has_value());
  EXPECT_EQ(study.global->dof, 1);
  EXPECT_TRUE(study.global->passed);
  EXPECT_TRUE(study.suspects.empty());
  // By hand: the residual 0.5 W goes out by variance, 0.25 to AC, 0.0625 to the loss, 0.04 to DC.
  const double total = 0.25 + 0.0625 + 0.04;
  EXPECT_NEAR(chain.flows[2].reconciled_W->value(), 100.0 - 0.5 * 0.25 / total, 1e-12);
  EXPECT_NEAR(chain.flows[3].reconciled_W->value(), 94.5 + 0.5 * 0.04 / total, 1e-12);
  EXPECT_NEAR(chain.flows[2].reconciled_W->u(), std::sqrt(0.25 - 0.25 * 0.25 / total), 1e-12);
  EXPECT_EQ(chain.flows[1].standing, metrology::Standing::observable);
  EXPECT_EQ(chain.flows[1].basis, "balance");
  EXPECT_FALSE(chain.flows[1].measured_W.has_value());
  EXPECT_NEAR(chain.flows[1].reconciled_W->value(), 110.0 - 0.5 * 0.25 / total, 1e-12);
  EXPECT_EQ(chain.flows[0].standing, metrology::Standing::not_redundant);
  const StagePowers& rotor = chain.stages[1].reconciled;
  EXPECT_NEAR(rotor.lost_W->value(), 300.0 - chain.flows[1].reconciled_W->value(), 1e-12);
  EXPECT_NEAR(rotor.efficiency->value(), chain.flows[1].reconciled_W->value() / 300.0, 1e-12);
  EXPECT_EQ(study.unchecked, (std::vector<std::string>{"generator:loss", "wind:all"}));
}

TEST(EnergyChain, OneBalanceNamesAllThatEntersIt) {
  const ChainStudy study = study_energy_chain({bridge(100.0, 98.0)}, two_meters);
  EXPECT_FALSE(study.global->passed);
  ASSERT_EQ(study.suspects.size(), 1U);
  EXPECT_EQ(study.suspects[0].names,
            (std::vector<std::string>{"ac_power_W", "bridge:loss", "dc_power_W"}));
  EXPECT_EQ(study.suspects[0].enters, "generator to rectifier, steady");
  EXPECT_NEAR(study.suspects[0].shift_W, -3.0, 1e-12) << "AC power reads 3 W too little";
  EXPECT_EQ(study.inseparable.size(), 1U);
}

TEST(EnergyChain, ASecondInstrumentIsAReadingOfTheSameFlow) {
  ChainWindow window = bridge(100.0, 98.0);
  window.flows[2].readings_W.push_back(watts(103.0, "analyser_W:gain", 0.5));
  ChainOptions three = two_meters;
  three.channels.insert("analyser_W");
  const ChainStudy study = study_energy_chain({window}, three);
  ASSERT_EQ(study.suspects.size(), 1U);
  EXPECT_EQ(study.suspects[0].names, std::vector<std::string>{"ac_power_W"});
}

TEST(EnergyChain, AFillingStageKeepsWhatDoesNotArrive) {
  ChainWindow window = bridge(100.0, 95.0);
  StageDescription filling{.name = "shaft"};
  filling.stored = StagePart::of(watts(20.0, "random-speed#1", 0.1));
  window.stages.push_back(filling);
  window.flows[1].to = "shaft";
  window.flows.push_back({.from = "shaft", .to = "generator"});
  const ChainStudy study = study_energy_chain({window}, two_meters);
  const StagePowers& shaft = study.windows[0].stages.back().reconciled;
  EXPECT_NEAR(shaft.in_W->value(), 130.0, 1e-12);
  EXPECT_NEAR(shaft.out_W->value(), 110.0, 1e-12);
  EXPECT_NEAR(shaft.efficiency->value(), 1.0, 1e-12) << "what is stored is not lost";
}

TEST(EnergyChain, SuspectsAreTheSameWithoutThePowers) {
  InventedErrors errors(7, "battery_current_A", 5.0);
  const auto windows = invented_windows(switched_in_turn(), &errors);
  ChainOptions options = invented_options();
  const ChainStudy whole = study_energy_chain(windows, options);
  options.powers = false;
  const ChainStudy tests = study_energy_chain(windows, options);
  EXPECT_TRUE(tests.windows.empty());
  EXPECT_EQ(tests.global->statistic, whole.global->statistic);
  EXPECT_EQ(tests.detectable, whole.detectable);
  ASSERT_EQ(tests.suspects.size(), whole.suspects.size());
  ASSERT_FALSE(tests.suspects.empty());
  EXPECT_EQ(tests.suspects[0].names, whole.suspects[0].names);
  EXPECT_EQ(tests.suspects[0].shift_W, whole.suspects[0].shift_W);
}

TEST(EnergyChain, EveryStageBalancesInEveryWindow) {
  InventedErrors errors(7, "battery_current_A", 5.0);
  const ChainStudy study =
      study_energy_chain(invented_windows(switched_in_turn(), &errors), invented_options());
  for (const EnergyChain& chain : study.windows) {
    for (const ChainStage& stage : chain.stages) {
      const StagePowers& at = stage.reconciled;
      if (!at.in_W || !at.out_W) continue;
      EXPECT_NEAR(at.in_W->value(), at.out_W->value() + at.lost_W->value() + at.stored_W->value(),
                  1e-9)
          << stage.name << ", " << chain.label;
    }
    for (const ChainFlow& flow : chain.flows) {
      if (!flow.measured_W) continue;
      EXPECT_LE(flow.reconciled_W->u(), flow.measured_W->u() * (1.0 + 1e-9));
    }
  }
  ASSERT_EQ(study.suspects.size(), 1U);
  EXPECT_EQ(study.suspects[0].names, std::vector<std::string>{"battery_current_A"});
  EXPECT_NEAR(study.suspects[0].size, 5.0, 2.5 * study.suspects[0].u_size);
}

// One pair of meters a place and one window: three currents enter one balance alike.
TEST(EnergyChain, OneWindowSaysWhichMetersItCannotTellApart) {
  const ChainStudy study =
      study_energy_chain(invented_windows({switched_in_turn()[0]}, nullptr), invented_options());
  const std::vector<std::string> currents{"battery_current_A", "dc_load_current_A",
                                          "dump_current_A"};
  EXPECT_NE(std::find(study.inseparable.begin(), study.inseparable.end(), currents),
            study.inseparable.end());
  const ChainStudy all =
      study_energy_chain(invented_windows(switched_in_turn(), nullptr), invented_options());
  EXPECT_EQ(std::find(all.inseparable.begin(), all.inseparable.end(), currents),
            all.inseparable.end());
}

TEST(EnergyChain, WritesItselfAsJson) {
  const auto json = base::json_from_text(
      base::json_text(to_json(study_energy_chain({bridge(100.0, 94.5)}, two_meters))), "chain");
  const auto& window = json.at("windows").at(0);
  EXPECT_EQ(window.at("flows").as_array().size(), 4U);
  EXPECT_EQ(window.at("flows").at(1).at("from").as_string(), "rotor");
  EXPECT_TRUE(window.at("flows").at(1).at("measured_W").is_null());
  EXPECT_EQ(window.at("flows").at(2).at("reconciled_W").at("unit").as_string(), "W");
  EXPECT_EQ(window.at("stages").at(3).at("name").as_string(), "rectifier");
  EXPECT_TRUE(json.at("global_test").at("passed").as_bool());
}

TEST(EnergyChain, RefusesWhatItCannotWeigh) {
  const auto refusal = [](const std::vector<ChainWindow>& windows) -> std::string {
    try {
      study_energy_chain(windows, two_meters);
    } catch (const base::BadInput& error) {
      return error.what();
    }
    return "accepted";
  };
  ChainWindow window = bridge(100.0, 94.5);
  window.flows[3].readings_W = {Estimate(94.5)};
  EXPECT_NE(refusal({window}).find("rectifier to DC load, steady: has no stated uncertainty"),
            std::string::npos)
      << refusal({window});
  window = bridge(100.0, 94.5);
  window.flows[3].to = "lamp";
  EXPECT_NE(refusal({window}).find("a flow names the stage \"lamp\""), std::string::npos);
  window = bridge(100.0, 94.5);
  EXPECT_NE(refusal({window, window}).find("steady: is there twice"), std::string::npos);
  EXPECT_NE(refusal({}).find("has no window"), std::string::npos);
}

}  // namespace
}  // namespace windwright::analysis
