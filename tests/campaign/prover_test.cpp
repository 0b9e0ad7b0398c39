// SPDX-License-Identifier: Apache-2.0
#include "campaign/prover.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/forwarding_device.h"
#include "campaign/bench_in_test.h"
#include "campaign/proof.h"
#include "fresh_folder.h"
#include "twin/fault.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <string>
#include <utility>

namespace windwright::campaign {
namespace {

struct Bench {
  explicit Bench(const std::string& example = "saltmarsh-college")
      : described(bench::bench_from_file(copied_bench(fresh_folder(), example))) {
    certify(described);
  }
  Proof proof(bool moved_bounds = false) {
    return prove_interlocks(described, device, {.person = "crew", .moved_bounds = moved_bounds});
  }
  ProvedInterlock of(const std::string& interlock, bool moved_bounds = false) {
    for (const ProvedInterlock& each : proof(moved_bounds).interlocks) {
      if (each.name == interlock) return each;
    }
    ADD_FAILURE() << "no interlock " << interlock;
    return {};
  }
  bench::Bench described;
  twin::SimulatedBench device{described, twin::Pace::as_fast_as_possible};
};

TEST(Prover, ProvesEveryInterlockOfBothExamples) {
  for (const char* example : {"saltmarsh-college", "saltmarsh-shed"}) {
    Bench bench(example);
    const Proof proof = bench.proof();
    ASSERT_EQ(proof.interlocks.size(), bench.described.interlocks.size());
    for (const ProvedInterlock& each : proof.interlocks) {
      EXPECT_EQ(each.remark, "") << each.name;
      EXPECT_NE(each.cause.find(each.name), std::string::npos) << each.cause;
      for (const ProvedBound& bound : each.bounds) {
        EXPECT_GT(bound.held_s, each.hold_s) << each.name;
        EXPECT_LE(bound.held_s, each.hold_s + 1.01 * bench.described.block_s) << each.name;
      }
    }
    EXPECT_TRUE(proof.passed());
    EXPECT_EQ(proof.valid_until - proof.date, std::chrono::days(30));
    EXPECT_EQ(bench.device.setting("fan_pct"), 0.0);
  }
}

TEST(Prover, SaysHowEachWasProved) {
  Bench bench;
  const Proof proof = bench.proof();
  const auto method = [&](const std::string& name) {
    const auto found = std::ranges::find(proof.interlocks, name, &ProvedInterlock::name);
    return found == proof.interlocks.end() ? "" : std::string(name_of(found->method));
  };
  EXPECT_EQ(method("emergency stop"), "by_hand");
  EXPECT_EQ(method("cover open"), "by_hand");
  EXPECT_EQ(method("rotor overspeed"), "known_input");
  EXPECT_EQ(method("rotor speed implausible"), "known_input");
  EXPECT_EQ(method("air speed sensor lost"), "known_input");
  EXPECT_EQ(method("air speed sensor stuck"), "changed_data");
  EXPECT_EQ(method("disk nearly full"), "moved_bound");
  EXPECT_EQ(method("clock"), "changed_data");
  // What lies in front of the judge, and what is no interlock, is told as not proved.
  const auto told = [&](const std::string& what) {
    return std::ranges::any_of(proof.not_proved, [&](const std::string& each) {
      return each.find(what) != std::string::npos;
    });
  };
  EXPECT_TRUE(told("'clock': that the device shows it"));
  EXPECT_TRUE(told("contactor"));
  EXPECT_TRUE(told("watchdog"));
}

TEST(Prover, TripsBetweenTheInputInsideAndTheOneBeyond) {
  Bench bench;
  const ProvedInterlock overspeed = bench.of("rotor overspeed");
  ASSERT_EQ(overspeed.bounds.size(), 1U);
  EXPECT_LT(*overspeed.bounds[0].inside, 420.0);
  EXPECT_GT(*overspeed.bounds[0].beyond, 420.0);
  EXPECT_GT(*overspeed.bounds[0].seen, 420.0);
  EXPECT_NEAR(*overspeed.bounds[0].seen, *overspeed.bounds[0].beyond, 2.0);
}

TEST(Prover, ABridgedLoopIsFound) {
  Bench bench;
  bench.device.start_fault({.kind = twin::FaultKind::bridged_loop});
  for (const char* name : {"emergency stop", "cover open", "fuse blown"})
    EXPECT_NE(bench.of(name).remark.find("does not trip"), std::string::npos) << name;
}

TEST(Prover, ABrokenWireIsFound) {
  Bench bench;
  bench.device.start_fault({.kind = twin::FaultKind::broken_loop_wire});
  EXPECT_NE(bench.of("cover open").remark.find("trips where it should not"), std::string::npos);
}

TEST(Prover, ASensorThatDoesNotFollowIsFound) {
  Bench bench;
  bench.device.start_fault(
      {.kind = twin::FaultKind::stuck_sensor, .channel = "winding_temperature_C"});
  EXPECT_NE(bench.of("winding temperature").remark.find("does not trip"), std::string::npos);
  EXPECT_TRUE(bench.of("rotor overspeed").passed());
}

TEST(Prover, AnActuatorThatDoesNotObeyTheSafeStateIsFound) {
  Bench bench;
  bench.device.set("load_selector", 0.0);
  bench.device.start_fault({.kind = twin::FaultKind::stuck_actuator, .actuator = "load_selector"});
  EXPECT_NE(bench.of("rotor overspeed").remark.find("load_selector is at 0"), std::string::npos);
}

// An instrument that takes its load off again as soon as what it was stopped for is gone.
class ComesBackByItself final : public bench::ForwardingDevice {
 public:
  using ForwardingDevice::ForwardingDevice;
  void remove_known_input() override {
    ForwardingDevice::remove_known_input();
    comes_back_ = stopped_;
  }
  void read(bench::SampleBlock& block) override {
    if (std::exchange(comes_back_, false)) set("load_selector", 0.0);
    ForwardingDevice::read(block);
  }
  void stop() noexcept override {
    ForwardingDevice::stop();
    stopped_ = true;
  }

 private:
  bool stopped_ = false;
  bool comes_back_ = false;
};

TEST(Prover, WhatComesBackByItselfWhenTheCauseIsGoneIsFound) {
  Bench bench;
  ComesBackByItself device(bench.device);
  const Proof proof = prove_interlocks(bench.described, device, {.person = "crew"});
  const auto overspeed =
      std::ranges::find(proof.interlocks, "rotor overspeed", &ProvedInterlock::name);
  ASSERT_NE(overspeed, proof.interlocks.end());
  EXPECT_NE(overspeed->remark.find("before the reset, load_selector is at 0"), std::string::npos)
      << overspeed->remark;
}

TEST(Prover, AChainOutOfOrderIsFound) {
  Bench bench;
  std::swap(bench.described.interlocks[0], bench.described.interlocks[1]);
  EXPECT_NE(bench.of("emergency stop").remark.find("'cover open' is told as the first cause"),
            std::string::npos);
}

TEST(Prover, TellsWhichComesFirstWithAllOfThemJudged) {
  Bench bench;
  // 76 V at standstill are implausible, too, but that has to last for longer.
  EXPECT_EQ(bench.of("DC over-voltage").first_out, "DC over-voltage");
  for (bench::Interlock& each : bench.described.interlocks)
    if (each.name == "DC over-voltage") each.hold_s = 1.0;
  const ProvedInterlock slower = bench.of("DC over-voltage");
  EXPECT_EQ(slower.remark, "");
  EXPECT_EQ(slower.first_out, "rotor speed implausible");
}

TEST(Prover, WithoutACalibratorBoundsAreMovedAndThatIsTold) {
  Bench bench;
  const Proof proof = bench.proof(true);
  EXPECT_TRUE(proof.passed());
  const auto found =
      std::ranges::find(proof.interlocks, std::string("rotor overspeed"), &ProvedInterlock::name);
  EXPECT_EQ(found->method, ProofMethod::moved_bound);
  EXPECT_LT(*found->bounds[0].bound, 1.0) << "where the rotor stands";
  EXPECT_TRUE(std::ranges::any_of(proof.not_proved, [](const std::string& each) {
    return each.find("'rotor overspeed': that the sensor shows its bound") != std::string::npos;
  }));
}

TEST(Prover, ComesToRestFirst) {
  Bench bench;
  bench.device.set("load_selector", 1.0);
  bench.device.set("fan_pct", 60.0);
  bench.device.advance(20.0);
  ASSERT_GT(bench.device.truth().at("rotor_speed_rad_s"), 50.0);
  EXPECT_TRUE(bench.proof().passed());
}

TEST(Prover, AFanThatDoesNotStopEndsIt) {
  Bench bench;
  bench.device.set("load_selector", 1.0);
  bench.device.set("fan_pct", 60.0);
  bench.device.start_fault({.kind = twin::FaultKind::stuck_actuator, .actuator = "fan_pct"});
  // Else the contactor takes its power away.
  bench.device.start_fault({.kind = twin::FaultKind::welded_contactor});
  bench.device.advance(20.0);
  try {
    bench.proof();
    ADD_FAILURE();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("does not stand still"), std::string::npos);
  }
}

}  // namespace
}  // namespace windwright::campaign
