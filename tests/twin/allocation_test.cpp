// SPDX-License-Identifier: Apache-2.0
#include "counted_allocations.h"
#include "twin/averaged_chain.h"
#include "twin/chain_example.h"
#include "twin/demo_bench.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <cstdint>

namespace windwright::twin {
namespace {

TEST(SimulatedBench, AllocatesNothingOnceItRuns) {
  SimulatedBench device(demo_bench(), Pace::as_fast_as_possible);
  device.set("load_selector", 1.0);
  device.set("fan_pct", 80.0);
  bench::SampleBlock block;
  device.read(block);
  const std::int64_t before = allocations;
  for (int i = 0; i < 100; ++i)
    device.read(block);
  EXPECT_EQ(allocations, before);
}

TEST(BenchWithBattery, AllocatesNothingOnceItRuns) {
  SimulatedBench device(shed_bench(), Pace::as_fast_as_possible);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", 4.0);
  device.set("dc_load_selector", 3.0);
  device.set("fan_pct", 80.0);
  bench::SampleBlock block;
  for (int i = 0; i < 20; ++i)
    device.read(block);
  const std::int64_t before = allocations;
  for (int i = 0; i < 50; ++i)
    device.read(block);
  EXPECT_EQ(allocations, before);
}

TEST(AveragedChain, AllocatesNothingOnceItRuns) {
  AveragedChain chain =
      shed_chain(physics::SourceControl::tracker, physics::DumpControl::on_off, 0.9);
  chain.set_wind(9.0);
  chain.switch_inverter(true);
  chain.turn_ac_selector(5);
  chain.turn_dc_selector(3);
  chain.advance(10);
  const std::int64_t before = allocations;
  chain.advance(300);
  chain.turn_ac_selector(2);
  chain.turn_dc_selector(1);
  chain.advance(300);
  EXPECT_EQ(allocations, before);
}

}  // namespace
}  // namespace windwright::twin
