// SPDX-License-Identifier: Apache-2.0
// Whatever fails, and whatever else fails with it, one layer that is left brings the bench to its
// safe state before the rotor passes 110 % of its limit, and tells why. All single faults and a
// seeded part of all pairs; all of them, with the table of docs/fault_campaign.md, where
// WINDWRIGHT_FAULT_TABLE names the file to write.
#include "end_to_end/fault_campaign.h"

#include "end_to_end/program.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

constexpr int short_run = 60;  // pairs
constexpr std::size_t load_lost = 1;
constexpr double most_quiet = 0.01;  // of all cases
constexpr double limit = FaultWorld::rotor_limit_rad_s;

fs::path guarded_bench() {
  const fs::path folder = bench_folder("fault-campaign");
  std::string bench = text_of(folder / "bench.toml");
  const auto change = [&](const std::string& old, const std::string& by) {
    const auto at = bench.find(old);
    ASSERT_NE(at, std::string::npos) << old;
    bench.replace(at, old.size(), by);
  };
  change("block_s = 0.1", "block_s = 0.01");
  // Below what the rotor may do: power and load take their time, and a gust goes on meanwhile.
  change("highest = 420", fmt::format("highest = {}", overspeed_of_limit * limit));
  change("highest = 75\n", "highest = 46\n");
  change("lowest = 0\nhighest = 100\n", "lowest = 0\nhighest = 100\nfull_travel_s = 1\n");
  bench += R"(
[[interlock]]
name = "rotor speed sensor stuck"
kind = "stuck"
channel = "rotor_speed_rad_s"
hold_s = 0.2
cause = "the rotor speed sensor gives the same count again and again"

[[interlock]]
name = "DC voltage sensor stuck"
kind = "stuck"
channel = "dc_voltage_V"
hold_s = 0.2
cause = "the DC voltage sensor gives the same count again and again"

# The loads of this bench have less than 25 ohm together.
[[interlock]]
name = "load lost"
channel = "dc_voltage_V"
with = "dc_current_A"
factor = 25.0
highest = 5.0
hold_s = 0.03
cause = "more voltage than any load leaves at this current: the load has fallen off, or a sensor lies"

[guard]
required = true
silence_s = 0.05
)";
  write_text(folder / "bench.toml", bench);
  const Ended calibrated = windwright({"calibrate", "bench.toml"}, folder);
  EXPECT_EQ(calibrated.exit_code, 0) << calibrated.err;
  return folder;
}

/// All single faults alone and while the load falls off, and a seeded part of everything else.
std::vector<Case> some_of(const std::vector<Case>& cases) {
  Draws random(7);
  std::vector<Case> some;
  const auto all = static_cast<double>(cases.size());
  for (const Case& one : cases) {
    const bool drawn = random.uniform() < short_run / all;
    if (drawn || (one.mishaps.size() == 1 && one.danger <= load_lost)) some.push_back(one);
  }
  return some;
}

TEST(FaultCampaign, ALayerThatIsLeftStopsTheRotorBelow110PercentOfItsLimitAndTellsWhy) {
  FaultBench bench(guarded_bench());
  const Campaign campaign;
  std::vector<Case> cases = all_cases(campaign);
  const char* table = std::getenv("WINDWRIGHT_FAULT_TABLE");
  if (table == nullptr) cases = some_of(cases);
  std::array<int, 4> kinds{};
  int quiet = 0;
  std::vector<Result> results;
  for (const Case& one : cases) {
    SCOPED_TRACE(words_of(campaign, one));
    results.push_back(result_of(campaign, one, bench));
    const Result& result = results.back();
    const Ending& ending = result.ending;
    ++kinds.at(static_cast<std::size_t>(result.kind));
    if (result.kind == Kind::uncovered) continue;
    quiet += ending.is_quiet() ? 1 : 0;
    EXPECT_TRUE(result.held()) << fmt::format(
        "rotor at {:.2f} of its limit, {} fan power, {}; {}; kind {}", ending.highest_of_limit,
        ending.fan_power ? "with" : "no", ending.loaded ? "loaded" : "without load", ending.cause,
        static_cast<int>(result.kind));
  }
  fmt::print(
      "{} cases: {} nothing to notice, {} covered by no layer, {} held without the layers, "
      "{} lost without them; {} quiet\n",
      cases.size(), kinds[0], kinds[1], kinds[2], kinds[3], quiet);
  // Else the campaign says nothing.
  EXPECT_GE(kinds.back(), static_cast<int>(cases.size() / 2));
  EXPECT_LE(quiet, most_quiet * static_cast<double>(cases.size()));
  if (table != nullptr) write_text(table, page(campaign, cases, results));
}

}  // namespace
}  // namespace windwright::end_to_end
