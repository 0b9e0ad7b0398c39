// SPDX-License-Identifier: Apache-2.0
#include "devices/guard_link.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/link.h"
#include "devices/modbus_instrument.h"
#include "instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <semaphore>
#include <span>
#include <string>
#include <thread>
#include <vector>

namespace windwright::devices {
namespace {

constexpr int fan = 4;
constexpr int load = 5;
constexpr int heartbeat = 20;
constexpr int reset = 21;
constexpr int guard_heartbeat = 22;
constexpr int stop = 23;

bench::Bench bench_at(int port) {
  bench::Bench bench = instrument_bench();
  bench.device = bench::ModbusTcpDevice{
      .host = "127.0.0.1",
      .port = port,
      .unit = {.unit = 17,
               .timeout_s = 0.5,
               .longest_outage_s = 60.0,
               .channels = {{.address = 0, .table = bench::RegisterTable::input},
                            {.address = 1, .table = bench::RegisterTable::input}},
               .actuators = {bench::ModbusActuator{.place = {.address = fan}},
                             bench::ModbusActuator{.place = {.address = load}}},
               .heartbeat_address = heartbeat,
               .guard_heartbeat_address = guard_heartbeat,
               .reset_address = reset,
               .stop_address = stop}};
  return bench;
}

TEST(GuardLink, CommandsTheSafeStateAndFeedsItsOwnShareOnly) {
  InstrumentRegisters registers;
  Temper good({Misdeed::none}, 0);
  const TcpInstrument instrument(registers, good);
  const bench::Bench bench = bench_at(instrument.port());
  const std::unique_ptr<GuardLink> link = open_guard_link(bench);
  ASSERT_NE(link, nullptr);
  EXPECT_FALSE(registers.was_written(reset));
  EXPECT_EQ(link->feed(), std::nullopt);
  EXPECT_EQ(link->feed(), std::nullopt);
  EXPECT_EQ(registers.written(guard_heartbeat), 2);
  EXPECT_FALSE(registers.was_written(heartbeat));
  EXPECT_FALSE(registers.was_written(fan));
  EXPECT_FALSE(registers.was_written(stop));
  EXPECT_EQ(link->make_safe(), std::nullopt);
  EXPECT_EQ(registers.written(stop), 1);
  EXPECT_TRUE(registers.was_written(fan));
  EXPECT_EQ(registers.written(fan), 0);
  EXPECT_EQ(registers.written(load), 1);
  EXPECT_FALSE(registers.was_written(reset));
}

TEST(GuardLink, ConnectsAnewWhereTheConnectionWasClosed) {
  InstrumentRegisters registers;
  Temper closing({Misdeed::close_before}, 2);
  const TcpInstrument instrument(registers, closing);
  const bench::Bench bench = bench_at(instrument.port());
  const std::unique_ptr<GuardLink> link = open_guard_link(bench);
  int safe = 0;
  for (int i = 0; i < 50; ++i) {
    if (!link->make_safe()) ++safe;
  }
  EXPECT_GT(closing.misdeeds(), 10);
  EXPECT_GT(safe, 10);
  EXPECT_EQ(registers.written(fan), 0);
}

TEST(GuardLink, SaysThatTheInstrumentIsGone) {
  for (const bool has_heartbeat : {true, false}) {
    SCOPED_TRACE(has_heartbeat);
    InstrumentRegisters registers;
    Temper good({Misdeed::none}, 0);
    auto instrument = std::make_unique<TcpInstrument>(registers, good);
    bench::Bench bench = bench_at(instrument->port());
    if (!has_heartbeat)
      std::get<bench::ModbusTcpDevice>(bench.device).unit.guard_heartbeat_address.reset();
    const std::unique_ptr<GuardLink> link = open_guard_link(bench);
    EXPECT_EQ(link->feed(), std::nullopt);
    EXPECT_EQ(registers.was_written(guard_heartbeat), has_heartbeat);
    instrument.reset();
    if (!has_heartbeat) std::this_thread::sleep_for(std::chrono::seconds(1));
    EXPECT_NE(link->feed(), std::nullopt);
    EXPECT_NE(link->make_safe(), std::nullopt);
    EXPECT_THROW(open_guard_link(bench), base::DeviceFault);
  }
}

/// A bench whose fan comes last, and links that do what is said here.
class OverLinks : public testing::Test {
 protected:
  OverLinks() {
    for (const char* name :
         {"load_selector", "inverter_switch", "mains_charger_switch", "fan_pct"}) {
      bench::Actuator actuator{};
      actuator.name = name;
      actuator.highest = 100.0;
      bench_.actuators.push_back(actuator);
    }
    bench_.actuators.front().positions = {"none", "lamp", "rheostat"};
    link_ = guard_link_over(bench_, "instrument", [this] { return connected(); });
  }

  class Of final : public Link {
   public:
    explicit Of(OverLinks& test) : test_(test) {}
    void read(std::span<std::int32_t> /*counts*/) override {}
    void set(std::size_t actuator, double value) override {
      const std::string& name = test_.bench_.actuators[actuator].name;
      test_.commands_.push_back(fmt::format("{} {:g}", name, value));
      if (name == test_.refused_) throw base::DeviceFault("instrument", "refuses", "it");
      if (name == test_.lost_) throw LinkLost("no answer to " + name);
    }
    void make_safe() override {
      ++test_.made_safe_;
      if (test_.refused_ == "stop") throw base::DeviceFault("instrument", "refuses", "it");
      if (test_.lost_ == "stop") throw LinkLost("no answer to stop");
    }
    void feed() override {
      test_.feeding_.release();
      test_.answer_.acquire();
    }

   private:
    OverLinks& test_;
  };
  std::unique_ptr<Link> connected() {
    ++connections_;
    if (unreachable_) throw LinkLost("no route");
    return std::make_unique<Of>(*this);
  }

  bench::Bench bench_{};
  std::vector<std::string> commands_;
  std::string lost_;
  std::string refused_;
  bool unreachable_ = false;
  int connections_ = 0;
  int made_safe_ = 0;
  std::binary_semaphore feeding_{0};
  std::binary_semaphore answer_{0};
  std::unique_ptr<GuardLink> link_;
};

TEST_F(OverLinks, TheFanComesFirstAndALoadLast) {
  EXPECT_EQ(link_->make_safe(), std::nullopt);
  EXPECT_EQ(commands_, (std::vector<std::string>{"fan_pct 0", "inverter_switch 0",
                                                 "mains_charger_switch 0", "load_selector 2"}));
  EXPECT_EQ(connections_, 1);
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(OverLinks, AnInstrumentThatDoesNotStopByItselfIsSwitchedAllTheSame) {
  const std::vector<std::string> all{"fan_pct 0", "inverter_switch 0", "mains_charger_switch 0",
                                     "load_selector 2"};
  refused_ = "stop";
  EXPECT_EQ(link_->make_safe(), "instrument: refuses: it");
  EXPECT_EQ(commands_, all);
  EXPECT_EQ(made_safe_, 1);
  refused_.clear();
  lost_ = "stop";
  commands_.clear();
  EXPECT_EQ(link_->make_safe(), "no answer to stop");
  EXPECT_EQ(commands_, all);
  EXPECT_EQ(made_safe_, 3);
}

TEST_F(OverLinks, WhatIsLostDoesNotKeepTheRestFromBeingSwitched) {
  lost_ = "fan_pct";
  EXPECT_EQ(link_->make_safe(), "no answer to fan_pct");
  EXPECT_EQ(commands_,
            (std::vector<std::string>{"fan_pct 0", "inverter_switch 0", "mains_charger_switch 0",
                                      "load_selector 2", "fan_pct 0"}));
  EXPECT_EQ(connections_, 2);
  lost_.clear();
  EXPECT_EQ(link_->make_safe(), std::nullopt);
}

TEST_F(OverLinks, WhatIsRefusedIsSaidAndNotAskedForAgain) {
  refused_ = "inverter_switch";
  lost_ = "load_selector";
  EXPECT_EQ(link_->make_safe(), "instrument: refuses: it");
  EXPECT_EQ(commands_,
            (std::vector<std::string>{"fan_pct 0", "inverter_switch 0", "mains_charger_switch 0",
                                      "load_selector 2", "load_selector 2"}));
}

TEST_F(OverLinks, AnInstrumentOutOfReachIsGivenUpAfterTwoConnections) {
  lost_ = "fan_pct";
  EXPECT_NE(link_->make_safe(), std::nullopt);
  unreachable_ = true;
  connections_ = 0;
  EXPECT_EQ(link_->make_safe(), "no route");
  EXPECT_EQ(connections_, 2);
}

TEST_F(OverLinks, AFeedThatWaitsForItsAnswerIsNotWaitedFor) {
  const std::jthread feeds([this] { EXPECT_EQ(link_->feed(), std::nullopt); });
  feeding_.acquire();
  EXPECT_EQ(link_->make_safe(), std::nullopt);
  EXPECT_EQ(commands_.size(), 4);
  EXPECT_EQ(connections_, 2);
  answer_.release();
}

TEST_F(OverLinks, AFeedThatIsAnsweredSoonNeedsNoConnectionBesideIt) {
  int beside = 0;
  for (int i = 0; i < 20; ++i) {
    connections_ = 0;
    const std::jthread feeds([this] { EXPECT_EQ(link_->feed(), std::nullopt); });
    feeding_.acquire();
    const std::jthread answers([this] {
      std::this_thread::sleep_for(std::chrono::milliseconds(5));
      answer_.release();
    });
    EXPECT_EQ(link_->make_safe(), std::nullopt);
    beside += connections_;
  }
  EXPECT_LE(beside, 10) << "a busy machine may be late now and then";
}

TEST(GuardLink, ASimulatedBenchTakesNoSecondConnection) {
  bench::Bench bench = instrument_bench();
  bench.device = bench::SimulatedDevice{};
  EXPECT_EQ(open_guard_link(bench), nullptr);
}

}  // namespace
}  // namespace windwright::devices
