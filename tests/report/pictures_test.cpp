// SPDX-License-Identifier: Apache-2.0
#include "report/pictures.h"

#include "base/files.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <optional>
#include <string>

namespace windwright::report {
namespace {

using metrology::Estimate;

Estimate watts(double value, double u) {
  return Estimate(value, {{"meter:standard", {.u = u, .dof = 50.0}}});
}

/// Wind to a bus that charges, or is fed by, a battery and carries an inverter.
analysis::EnergyChain off_grid(double into_battery_W) {
  analysis::EnergyChain chain{.label = "10 s to 20 s", .stages = {}, .flows = {}};
  const auto stage = [&](const std::string& name, double in_W, double lost_W) {
    analysis::ChainStage one{.name = name, .measured = {}, .reconciled = {}};
    if (in_W > 0.0) one.reconciled.in_W = watts(in_W, 0.5);
    if (lost_W > 0.0) one.reconciled.lost_W = watts(lost_W, 0.3);
    chain.stages.push_back(one);
  };
  const auto flow = [&](const std::string& from, const std::string& to, double power_W) {
    chain.flows.push_back({.from = from,
                           .to = to,
                           .measured_W = std::nullopt,
                           .reconciled_W = watts(power_W, 0.4),
                           .standing = metrology::Standing::redundant,
                           .basis = "measured"});
  };
  const double bus_W = 40.0;
  const double inverter_W = bus_W - into_battery_W - 5.0;
  stage("wind", 0.0, 0.0);
  stage("rotor", 120.0, 70.0);
  stage("generator", 50.0, 6.0);
  stage("rectifier", 44.0, 4.0);
  stage("DC bus", bus_W, 0.0);
  stage("battery", 0.0, 0.0);
  stage("DC loads", 5.0, 0.0);
  stage("inverter", inverter_W, 4.0);
  stage("AC loads", inverter_W - 4.0, 0.0);
  flow("wind", "rotor", 120.0);
  flow("rotor", "generator", 50.0);
  flow("generator", "rectifier", 44.0);
  flow("rectifier", "DC bus", bus_W);
  flow("DC bus", "battery", into_battery_W);
  flow("DC bus", "DC loads", 5.0);
  flow("DC bus", "inverter", inverter_W);
  flow("inverter", "AC loads", inverter_W - 4.0);
  return chain;
}

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + 1))
    ++found;
  return found;
}

TEST(Pictures, AChainNamesEveryStageAndEveryLossWithItsUncertainty) {
  const analysis::EnergyChain chain = off_grid(12.0);
  const std::string picture = window_chain_picture(chain);
  for (const std::string name : {"Wind", "Rotor", "Generator", "Rectifier", "DC bus", "Battery",
                                 "DC loads", "Inverter", "AC loads"}) {
    EXPECT_EQ(count(picture, ">" + name + "<"), 1U) << name;
  }
  EXPECT_EQ(count(picture, ">lost<"), 3U);
  EXPECT_EQ(count(picture, ">stays in the wind<"), 1U);
  EXPECT_NE(picture.find("70.00 ± 0.60 W"), std::string::npos);
  base::write_whole(std::filesystem::path(BUILD_FOLDER) / "energy_chain.svg", picture);
}

TEST(Pictures, ABatteryThatFeedsIsDrawnFromItsSide) {
  const std::string charging = window_chain_picture(off_grid(12.0));
  const std::string feeding = window_chain_picture(off_grid(-12.0));
  constexpr const char* store = "#b8a05c";
  EXPECT_EQ(count(charging, store), 0U);
  EXPECT_EQ(count(feeding, store), 1U);
  base::write_whole(std::filesystem::path(BUILD_FOLDER) / "energy_chain_feeding.svg", feeding);
}

TEST(Pictures, AreFilesOfTheirOwn) {
  EXPECT_EQ(window_chain_picture(off_grid(12.0)).find("<svg xmlns=\"http://www.w3.org/2000/svg\""),
            0U);
}

}  // namespace
}  // namespace windwright::report
