// SPDX-License-Identifier: Apache-2.0
// What the hard-wired chain does on the simulated bench, whatever is commanded meanwhile.
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "demo_bench.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>

namespace windwright::twin {
namespace {

using bench::HandAction;

/// A bench that turns, and somebody who commands it on and on.
struct Driven {
  explicit Driven(const bench::Bench& described) : bench(described) {
    if (!bench.chain) {
      device.set("rheostat_ohm", 15.0);
      device.set("load_selector", 1.0);
    }
    device.set("fan_pct", fan_pct);
    pass(20.0);
  }

  /// Commands the fan with every block.
  void pass(double seconds) {
    bench::SampleBlock block;
    for (double gone = 0.0; gone < seconds; gone += bench.block_s) {
      device.set("fan_pct", fan_pct);
      device.read(block);
    }
  }
  double truth(const std::string& what) const { return device.truth().at(what); }
  double speed_rad_s() const { return truth("rotor_speed_rad_s"); }
  /// Through the converter, by the sensor's ideal transfer.
  double shown(std::string_view channel) {
    bench::SampleBlock block;
    device.read(block);
    const std::size_t i = bench.channel_index(channel);
    const bench::SimulatedSensor& sensor = *bench.channels[i].simulated;
    const double reading_V = bench::volts(bench.channels[i].converter, block.channel(i).back());
    return (reading_V - sensor.offset_V) / sensor.sensitivity_V;
  }

  double fan_pct = 60.0;
  bench::Bench bench;
  SimulatedBench device{bench, Pace::as_fast_as_possible};
};

TEST(HardWired, OpenChainStopsTheRotorWhateverIsCommanded) {
  for (const auto& described : {demo_bench(), shed_bench()}) {
    Driven driven(described);
    ASSERT_GT(driven.speed_rad_s(), 50.0) << described.name;
    driven.device.ask_for(HandAction::open_cover);
    EXPECT_EQ(driven.truth("fan_contactor"), 0.0);
    driven.pass(15.0);
    EXPECT_LT(driven.speed_rad_s(), 1.0) << described.name;
    EXPECT_LT(driven.truth("air_speed_m_s"), 0.1) << described.name;
    EXPECT_EQ(driven.device.setting("fan_pct"), driven.fan_pct) << "still commanded";
  }
}

TEST(HardWired, ClosingTheChainStartsNothingBeforeTheFanWasCommandedToStand) {
  Driven driven(demo_bench());
  driven.device.ask_for(HandAction::press_emergency_stop);
  driven.pass(15.0);
  driven.device.ask_for(HandAction::release_emergency_stop);
  driven.pass(5.0);
  EXPECT_LT(driven.truth("air_speed_m_s"), 0.1);
  driven.device.set("fan_pct", 0.0);
  driven.pass(20.0);
  EXPECT_GT(driven.speed_rad_s(), 50.0);
}

TEST(HardWired, TapsSayWhichContactIsOpen) {
  Driven driven(demo_bench());
  const auto shown = [&](std::string_view channel) { return driven.shown(channel); };
  const auto settle = [&] { driven.pass(0.2); };
  for (const auto channel : bench::loop_channels)
    EXPECT_NEAR(shown(channel), 24.0, 0.5) << channel;
  driven.device.ask_for(HandAction::open_cover);
  settle();
  EXPECT_NEAR(shown("emergency_stop_loop_V"), 24.0, 0.5);
  EXPECT_NEAR(shown("cover_loop_V"), 0.0, 0.5);
  EXPECT_NEAR(shown("fuse_loop_V"), 0.0, 0.5);
  driven.device.ask_for(HandAction::close_cover);
  driven.device.start_fault({.kind = FaultKind::broken_loop_wire});
  settle();
  for (const auto channel : bench::loop_channels)
    EXPECT_NEAR(shown(channel), 0.0, 0.5) << "a broken wire reads as open: " << channel;
}

TEST(HardWired, BridgedLoopHidesAnOpenCoverAndWeldedContactorKeepsTheFanOn) {
  Driven bridged(demo_bench());
  bridged.device.start_fault({.kind = FaultKind::bridged_loop});
  bridged.device.ask_for(HandAction::open_cover);
  bridged.pass(5.0);
  EXPECT_NEAR(bridged.shown("cover_loop_V"), 24.0, 0.5);
  EXPECT_GT(bridged.speed_rad_s(), 50.0);

  Driven welded(demo_bench());
  welded.device.start_fault({.kind = FaultKind::welded_contactor});
  welded.device.ask_for(HandAction::open_cover);
  welded.pass(5.0);
  EXPECT_NEAR(welded.shown("cover_loop_V"), 0.0, 0.5);
  EXPECT_GT(welded.speed_rad_s(), 50.0);
  EXPECT_EQ(welded.truth("fan_contactor"), 1.0);
}

TEST(HardWired, TheSafeStateTakesThePowerOfAFanThatIsStuck) {
  Driven driven(demo_bench());
  driven.device.start_fault({.kind = FaultKind::stuck_actuator, .actuator = "fan_pct"});
  driven.device.stop();
  EXPECT_EQ(driven.device.setting("fan_pct"), driven.fan_pct);
  EXPECT_EQ(driven.truth("fan_contactor"), 0.0);
  driven.pass(15.0);
  EXPECT_LT(driven.speed_rad_s(), 1.0);

  Driven bridged(demo_bench());
  bridged.device.start_fault({.kind = FaultKind::bridged_loop});
  bridged.device.start_fault({.kind = FaultKind::stuck_actuator, .actuator = "fan_pct"});
  bridged.device.stop();
  EXPECT_EQ(bridged.truth("fan_contactor"), 1.0) << "two faults that together leave nothing";
}

// A gust behind a stop finds the brake still on.
TEST(HardWired, TheSafeStateHoldsTheBrakeUntilTheNextStart) {
  for (const auto& described : {demo_bench(), shed_bench()}) {
    Driven driven(described);
    bench::SampleBlock block;
    driven.device.stop();
    for (int i = 0; i < 100; ++i)
      driven.device.read(block);
    EXPECT_EQ(driven.truth("fan_contactor"), 0.0) << described.name;
    driven.device.set("fan_pct", 0.0);
    EXPECT_EQ(driven.truth("fan_contactor"), 0.0) << "that asks for no power";
    driven.device.set("fan_pct", driven.fan_pct);
    EXPECT_EQ(driven.truth("fan_contactor"), 1.0) << described.name;
    driven.pass(20.0);
    EXPECT_GT(driven.speed_rad_s(), 50.0) << described.name;
  }
  Driven charged(shed_bench());
  charged.device.stop();
  charged.device.set("inverter_switch", 1.0);
  EXPECT_EQ(charged.device.setting("inverter_switch"), 1.0) << "behind the same contactor";
}

TEST(HardWired, AStartDoesNotLetGoOfAFanThatRunsThoughItIsToStand) {
  Driven driven(demo_bench());
  driven.device.start_fault({.kind = FaultKind::stuck_actuator, .actuator = "fan_pct"});
  driven.device.stop();
  driven.device.set("fan_pct", driven.fan_pct);
  EXPECT_EQ(driven.truth("fan_contactor"), 0.0);
}

TEST(HardWired, BlownFuseUnloadsTheRotorAndTheChainHoldsItAllTheSame) {
  for (const auto& described : {demo_bench(), shed_bench()}) {
    Driven alone(described);
    const double loaded_rad_s = alone.speed_rad_s();
    alone.device.start_fault({.kind = FaultKind::bridged_loop});
    alone.device.start_fault({.kind = FaultKind::blown_fuse});
    alone.pass(5.0);
    EXPECT_GT(alone.speed_rad_s(), 1.2 * loaded_rad_s) << described.name;
    EXPECT_LT(alone.truth("dc_current_A"), 0.01) << described.name;

    Driven held(described);
    held.device.start_fault({.kind = FaultKind::blown_fuse});
    double fastest_rad_s = 0.0;
    for (int i = 0; i < 50; ++i) {
      held.pass(held.bench.block_s);
      fastest_rad_s = std::max(fastest_rad_s, held.speed_rad_s());
    }
    EXPECT_LT(fastest_rad_s, 1.01 * loaded_rad_s) << described.name;
    EXPECT_LT(held.speed_rad_s(), 0.3 * loaded_rad_s) << described.name;
  }
}

TEST(HardWired, InverterAndMainsChargerGoOffAndStayOff) {
  Driven driven(shed_bench());
  driven.device.set("inverter_switch", 1.0);
  driven.device.set("mains_charger_switch", 1.0);
  driven.pass(1.0);
  driven.device.ask_for(HandAction::press_emergency_stop);
  EXPECT_EQ(driven.device.setting("inverter_switch"), 0.0);
  EXPECT_EQ(driven.device.setting("mains_charger_switch"), 0.0);
  driven.device.set("inverter_switch", 1.0);
  EXPECT_EQ(driven.device.setting("inverter_switch"), 0.0) << "no power to switch on";
  driven.device.ask_for(HandAction::release_emergency_stop);
  driven.device.set("fan_pct", 0.0);
  EXPECT_EQ(driven.device.setting("inverter_switch"), 0.0) << "does not come on by itself";
}

TEST(HardWired, EnergyClosesThroughAStopByTheChain) {
  for (const auto& described : {demo_bench(), shed_bench()}) {
    Driven driven(described);
    driven.device.ask_for(HandAction::open_cover);
    driven.pass(10.0);
    const EnergyTally all = driven.device.energy();
    const double out_J = all.bearing_J + all.iron_J + all.winding_J + all.rectifier_J + all.load_J +
                         all.brake_J + all.kinetic_J;
    EXPECT_NEAR(out_J / all.rotor_J, 1.0, 1e-6) << described.name;
  }
}

TEST(HardWired, ABookmarkKeepsChainAndFaults) {
  Driven driven(demo_bench());
  driven.device.ask_for(HandAction::open_cover);
  driven.device.start_fault({.kind = FaultKind::loose_blade, .amount = 0.01});
  driven.device.start_fault({.kind = FaultKind::stuck_actuator, .actuator = "rheostat_ohm"});
  SimulatedBench again(driven.bench, Pace::as_fast_as_possible);
  again.return_to(driven.device.bookmark());
  driven.device.set("rheostat_ohm", 90.0);
  again.set("rheostat_ohm", 90.0);
  bench::SampleBlock a;
  bench::SampleBlock b;
  for (int i = 0; i < 20; ++i) {
    driven.device.read(a);
    again.read(b);
    ASSERT_EQ(a.counts, b.counts) << i;
  }
  EXPECT_EQ(again.bookmark(), driven.device.bookmark());
}

TEST(HardWired, ABenchWithoutTheChainCannotBeAskedForIt) {
  bench::Bench plain = demo_bench();
  plain.hard_wired.reset();
  SimulatedBench device(plain, Pace::as_fast_as_possible);
  try {
    device.ask_for(HandAction::open_cover);
    ADD_FAILURE();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("no hard-wired chain"), std::string::npos);
  }
}

}  // namespace
}  // namespace windwright::twin
