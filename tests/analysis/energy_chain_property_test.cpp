// SPDX-License-Identifier: Apache-2.0
#include "analysis/energy_chain.h"
#include "analysis/synthetic_chain.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdint>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr std::uint64_t runs = 1000;

ChainStudy study_of(std::uint64_t seed, const std::string& biased) {
  InventedErrors errors(seed, biased, 5.0);
  ChainOptions options = invented_options();
  options.powers = false;
  return study_energy_chain(invented_windows(switched_in_turn(), &errors), options);
}

// Takes minutes, hence with the coverage tests that --fast leaves out.
TEST(Coverage, EnergyChainOfASoundBenchIsSuspectedInLessThanFiveInAHundred) {
  int suspected = 0;
  for (std::uint64_t seed = 1; seed <= runs; ++seed)
    suspected += study_of(seed, "").suspects.empty() ? 0 : 1;
  fmt::print("suspected without a bias: {} of {}\n", suspected, runs);
  EXPECT_LT(suspected, runs * 5 / 100);
  EXPECT_GT(suspected, runs * 2 / 100) << "the level is used up, or power is given away";
}

class Biased : public testing::TestWithParam<std::string> {};

// Named alone, not in a group, and first.
TEST_P(Biased, SensorIsNamedInNineOfTenSeededRuns) {
  int named = 0;
  for (std::uint64_t seed = 1; seed <= runs; ++seed) {
    const ChainStudy study = study_of(seed, GetParam());
    named += !study.suspects.empty() &&
                     study.suspects.front().names == std::vector<std::string>{GetParam()}
                 ? 1
                 : 0;
  }
  fmt::print("{} biased by 5 u: named in {} of {}\n", GetParam(), named, runs);
  EXPECT_GE(named, static_cast<int>(runs * 9 / 10));
}

std::vector<std::string> all_sensors() {
  std::vector<std::string> names;
  for (const auto& [name, sensor] : invented_sensors())
    names.push_back(name);
  return names;
}
INSTANTIATE_TEST_SUITE_P(Coverage, Biased, testing::ValuesIn(all_sensors()),
                         [](const auto& sensor) { return sensor.param; });

}  // namespace
}  // namespace windwright::analysis
