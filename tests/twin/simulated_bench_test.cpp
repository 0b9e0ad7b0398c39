// SPDX-License-Identifier: Apache-2.0
#include "twin/simulated_bench.h"

#include "base/errors.h"
#include "bench/device_contract.h"
#include "twin/demo_bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <string>
#include <vector>

namespace windwright::bench {

INSTANTIATE_TEST_SUITE_P(Simulated, DeviceContract,
                         testing::Values(DeviceUnderTest{
                             .name = "SimulatedBench",
                             .bench = twin::demo_bench,
                             .open = [](const Bench& bench) -> std::unique_ptr<Device> {
                               return std::make_unique<twin::SimulatedBench>(
                                   bench, twin::Pace::as_fast_as_possible);
                             }}),
                         named_device);

}  // namespace windwright::bench

namespace windwright::twin {
namespace {

SimulatedBench simulated(const bench::Bench& bench) {
  return {bench, Pace::as_fast_as_possible};
}

std::vector<std::int32_t> counts_of(SimulatedBench& device, int blocks) {
  std::vector<std::int32_t> all;
  bench::SampleBlock block;
  for (int i = 0; i < blocks; ++i) {
    device.read(block);
    all.insert(all.end(), block.counts.begin(), block.counts.end());
  }
  return all;
}

void start(SimulatedBench& device) {
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 15.0);
  device.set("fan_pct", 70.0);
}

TEST(SimulatedBench, SameSeedGivesTheSameCounts) {
  SimulatedBench a = simulated(demo_bench());
  SimulatedBench b = simulated(demo_bench());
  start(a);
  start(b);
  EXPECT_EQ(counts_of(a, 50), counts_of(b, 50));
}

TEST(SimulatedBench, AnotherSeedGivesOtherCounts) {
  bench::Bench other = demo_bench();
  ++other.simulation->seed;
  SimulatedBench a = simulated(demo_bench());
  SimulatedBench b = simulated(other);
  EXPECT_NE(counts_of(a, 1), counts_of(b, 1));
}

// A run that is bookmarked on its way, and another that takes over from every bookmark in a fresh
// object, through starting, switching, a change of blades and a stop in the middle of things.
TEST(SimulatedBench, GoesOnFromABookmarkToTheBit) {
  SimulatedBench whole = simulated(demo_bench());
  auto taken_over = std::make_unique<SimulatedBench>(demo_bench(), Pace::as_fast_as_possible);
  const auto both = [&](const auto& act) {
    act(whole);
    act(*taken_over);
    const std::string bookmark = taken_over->bookmark();
    taken_over = std::make_unique<SimulatedBench>(demo_bench(), Pace::as_fast_as_possible);
    taken_over->return_to(bookmark);
    EXPECT_EQ(counts_of(whole, 7), counts_of(*taken_over, 7));
    EXPECT_EQ(whole.truth(), taken_over->truth());
    EXPECT_EQ(whole.energy().rotor_J, taken_over->energy().rotor_J);
    EXPECT_EQ(whole.energy().kinetic_J, taken_over->energy().kinetic_J);
  };
  both([](SimulatedBench& device) { start(device); });
  both([](SimulatedBench& device) { device.advance(20.013); });
  both([](SimulatedBench& device) { device.reset_energy(); });
  both([](SimulatedBench& device) { device.set("load_selector", 3.0); });
  both([](SimulatedBench& device) { device.stop(); });
  both([](SimulatedBench& device) { device.set("blade_count", 2.0); });
  both([](SimulatedBench& device) { device.set("pitch_deg", 8.0); });
  both([](SimulatedBench& device) { start(device); });
  EXPECT_EQ(whole.bookmark(), taken_over->bookmark());
}

TEST(SimulatedBench, ABookmarkChangesNothing) {
  SimulatedBench marked = simulated(demo_bench());
  SimulatedBench plain = simulated(demo_bench());
  start(marked);
  start(plain);
  for (int i = 0; i < 20; ++i) {
    static_cast<void>(marked.bookmark());
    ASSERT_EQ(counts_of(marked, 3), counts_of(plain, 3));
  }
}

TEST(SimulatedBench, RefusesABookmarkOfAnotherSeedOrNoBookmark) {
  bench::Bench other = demo_bench();
  ++other.simulation->seed;
  SimulatedBench a = simulated(demo_bench());
  SimulatedBench b = simulated(other);
  EXPECT_THROW(b.return_to(a.bookmark()), base::BadInput);
  EXPECT_THROW(a.return_to("{}"), base::BadInput);
  std::string spoilt = a.bookmark();
  spoilt.replace(spoilt.find("\"tick\":\"0\""), 10, "\"tick\":\"x\"");
  EXPECT_THROW(a.return_to(spoilt), base::BadInput);
}

TEST(SimulatedBench, ALeapInTimeIsAGapInTheSamples) {
  SimulatedBench device = simulated(demo_bench());
  bench::SampleBlock block;
  device.read(block);
  device.advance(1.0);
  device.read(block);
  EXPECT_TRUE(block.gap_before);
  EXPECT_EQ(block.first_sample, 100 + 1000);
  device.read(block);
  EXPECT_FALSE(block.gap_before);
}

TEST(SimulatedBench, BladesAreNotChangedWhileTheFanTurns) {
  SimulatedBench device = simulated(demo_bench());
  device.set("fan_pct", 10.0);
  EXPECT_THROW(device.set("blade_count", 2.0), base::DeviceFault);
  EXPECT_THROW(device.set("pitch_deg", 3.0), base::DeviceFault);
  EXPECT_EQ(device.truth().at("blade_count"), 3.0);
  device.set("fan_pct", 0.0);
  device.set("blade_count", 2.0);
  EXPECT_EQ(device.truth().at("blade_count"), 2.0);
}

TEST(SimulatedBench, EachMountingIsOffThePitchThatWasMeantByItsOwnError) {
  SimulatedBench device = simulated(demo_bench());
  device.set("pitch_deg", 5.0);
  const double first = device.truth().at("pitch_deg");
  device.set("pitch_deg", 5.0);  // already there
  EXPECT_EQ(device.truth().at("pitch_deg"), first);
  device.set("pitch_deg", 10.0);
  device.set("pitch_deg", 5.0);
  const double again = device.truth().at("pitch_deg");
  EXPECT_NE(again, first);
  EXPECT_NEAR(first, 5.0, 1.0);
  EXPECT_NEAR(again, 5.0, 1.0);
}

TEST(SimulatedBench, StopTurnsTheFanOffAndKeepsALoadOn) {
  SimulatedBench device = simulated(demo_bench());
  device.set("fan_pct", 80.0);
  device.set("load_selector", 0.0);
  device.advance(15.0);
  ASSERT_GT(device.truth().at("rotor_speed_rad_s"), 50.0);
  device.stop();
  device.advance(0.02);
  EXPECT_GT(device.truth().at("dc_current_A"), 0.1);
  device.advance(120.0);
  EXPECT_EQ(device.truth().at("rotor_speed_rad_s"), 0.0);
  EXPECT_LT(device.truth().at("air_speed_m_s"), 1e-6);
}

}  // namespace
}  // namespace windwright::twin
