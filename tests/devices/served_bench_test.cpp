// SPDX-License-Identifier: Apache-2.0
#include "devices/served_bench.h"

#include "base/files.h"
#include "bench/bench.h"
#include "devices/modbus_registers.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <array>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace windwright::devices {
namespace {

using bench::RegisterTable;

const std::filesystem::path demo = SOURCE_FOLDER "/examples/saltmarsh-college/bench.toml";

/// The demo's bench served, with blocks of 10 samples, 10 ms.
class Served : public testing::Test {
 protected:
  Served() { bench_.block_s = 0.01; }

  std::uint16_t input(int address) {
    std::uint16_t word = 0;
    EXPECT_EQ(served_.read(RegisterTable::input, address, std::span(&word, 1)),
              ModbusException::none);
    return word;
  }
  std::uint16_t holding(int address) {
    std::uint16_t word = 0;
    EXPECT_EQ(served_.read(RegisterTable::holding, address, std::span(&word, 1)),
              ModbusException::none);
    return word;
  }
  ModbusException write(int address, std::uint16_t word) {
    return served_.write(address, std::span(&word, 1));
  }
  double reading_V(const char* channel) {
    const std::size_t index = bench_.channel_index(channel);
    return bench::volts(bench_.channels[index].converter, input(static_cast<int>(index)));
  }
  void pass_s(double seconds) {
    for (int i = 0; i < static_cast<int>(100.0 * seconds); ++i)
      served_.pass();
  }

  static constexpr int fan = 0;
  static constexpr int selector = 1;
  static constexpr int pitch = 4;
  bench::Bench bench_ = bench::bench_from_file(demo);
  twin::SimulatedBench device_{bench_with_short_blocks(), twin::Pace::as_fast_as_possible};
  ServedBench served_{bench_, device_, {.watchdog_s = 2.0}};

 private:
  bench::Bench bench_with_short_blocks() const {
    bench::Bench bench = bench::bench_from_file(demo);
    bench.block_s = 0.01;
    return bench;
  }
};

TEST_F(Served, ScalesActuatorsToWholeRegisters) {
  EXPECT_EQ(served_.map().actuators[fan].scale, 100.0);
  EXPECT_EQ(served_.map().actuators[selector].scale, 1.0);
  EXPECT_EQ(write(fan, 100'01), ModbusException::illegal_value);
  EXPECT_EQ(write(fan, 100'00), ModbusException::none);
  EXPECT_EQ(holding(fan), 100'00);
}

TEST_F(Served, StopsWhenNobodyWritesAndStaysSo) {
  const auto sixty = static_cast<std::uint16_t>(60.0 * served_.map().actuators[fan].scale);
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  for (int second = 0; second < 5; ++second) {
    pass_s(1.0);
    ASSERT_EQ(write(served_.map().heartbeat_address, static_cast<std::uint16_t>(second)),
              ModbusException::none);
  }
  EXPECT_GT(reading_V("air_speed_m_s"), 3.0);  // 60 % of 14 m/s at half a volt each
  EXPECT_EQ(input(served_.map().tripped_address), 0);
  pass_s(1.9);
  EXPECT_FALSE(served_.tripped());
  pass_s(0.2);
  EXPECT_TRUE(served_.tripped());
  EXPECT_EQ(input(served_.map().tripped_address), 1);
  EXPECT_EQ(holding(fan), 0);
  EXPECT_EQ(holding(selector), 1);  // a load
  EXPECT_EQ(write(fan, sixty), ModbusException::server_failure);
  EXPECT_EQ(write(fan, 0), ModbusException::none);  // what it does already
  EXPECT_EQ(write(served_.map().heartbeat_address, 9), ModbusException::none);
  pass_s(5.0);
  EXPECT_LT(reading_V("air_speed_m_s"), 1.0);
  EXPECT_EQ(write(served_.map().reset_address, 2), ModbusException::illegal_value);
  EXPECT_EQ(write(served_.map().reset_address, 1), ModbusException::none);
  EXPECT_FALSE(served_.tripped());
  EXPECT_EQ(holding(fan), 0);
  EXPECT_EQ(write(fan, sixty), ModbusException::none);
}

TEST_F(Served, TakesThePowerOfAFanThatDoesNotObey) {
  const auto sixty = static_cast<std::uint16_t>(60.0 * served_.map().actuators[fan].scale);
  ASSERT_EQ(write(selector, 1), ModbusException::none);
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  pass_s(1.0);
  device_.start_fault({.kind = twin::FaultKind::stuck_actuator, .actuator = "fan_pct"});
  ASSERT_EQ(write(fan, 0), ModbusException::none);
  pass_s(1.9);
  EXPECT_FALSE(served_.tripped());
  EXPECT_EQ(device_.truth().at("fan_contactor"), 1.0);
  pass_s(0.2);
  EXPECT_TRUE(served_.tripped());
  EXPECT_EQ(served_.trip_cause(), "the fan did not obey the command to stand");
  EXPECT_EQ(device_.truth().at("fan_contactor"), 0.0);
}

TEST_F(Served, MakesTheBenchSafeWhenItIsToldTo) {
  const auto sixty = static_cast<std::uint16_t>(60.0 * served_.map().actuators[fan].scale);
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  pass_s(1.0);
  EXPECT_EQ(write(served_.map().stop_address, 2), ModbusException::illegal_value);
  EXPECT_EQ(holding(fan), sixty);
  EXPECT_EQ(write(served_.map().stop_address, 1), ModbusException::none);
  EXPECT_EQ(holding(served_.map().stop_address), 0);
  EXPECT_EQ(holding(fan), 0);
  EXPECT_EQ(holding(selector), 1);
  EXPECT_EQ(device_.truth().at("fan_contactor"), 0.0) << "and its brake is on";
  pass_s(1.0);
  EXPECT_EQ(device_.truth().at("fan_contactor"), 0.0);
  EXPECT_FALSE(served_.tripped()) << "that is for who told it to take back";
  EXPECT_EQ(write(fan, sixty), ModbusException::none);
  EXPECT_EQ(device_.truth().at("fan_contactor"), 1.0);
}

TEST_F(Served, WhatHasTrippedConnectsALoadThatFallsOff) {
  ASSERT_EQ(write(selector, 1), ModbusException::none);
  ASSERT_EQ(write(fan, 100), ModbusException::none);
  pass_s(2.1);
  ASSERT_TRUE(served_.tripped());
  device_.set("load_selector", 0.0);
  pass_s(0.01);
  EXPECT_EQ(device_.setting("load_selector"), 1.0);
}

// Once a guard process has fed its share, acquisition and guard have to.
TEST_F(Served, AGuardThatFedOnceMustGoOn) {
  const auto sixty = static_cast<std::uint16_t>(60.0 * served_.map().actuators[fan].scale);
  const int own = served_.map().heartbeat_address;
  const int guards = served_.map().guard_heartbeat_address;
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  ASSERT_EQ(write(guards, 1), ModbusException::none);
  EXPECT_EQ(holding(guards), 1);
  for (int second = 0; second < 5; ++second) {
    pass_s(1.0);
    ASSERT_EQ(write(own, 7), ModbusException::none);
    ASSERT_EQ(write(guards, 8), ModbusException::none);
  }
  EXPECT_FALSE(served_.tripped());
  for (int tenth = 0; tenth < 19; ++tenth) {  // the guard is silent
    pass_s(0.1);
    ASSERT_EQ(write(own, 7), ModbusException::none);
  }
  EXPECT_FALSE(served_.tripped());
  pass_s(0.2);
  EXPECT_TRUE(served_.tripped());
  EXPECT_EQ(served_.trip_cause(), "the guard process wrote no heartbeat");
  EXPECT_EQ(holding(fan), 0);
  // A reset does not make the guard dispensable.
  ASSERT_EQ(write(served_.map().reset_address, 1), ModbusException::none);
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  pass_s(0.1);
  EXPECT_TRUE(served_.tripped());
  ASSERT_EQ(write(served_.map().reset_address, 1), ModbusException::none);
  ASSERT_EQ(write(guards, 9), ModbusException::none);
  ASSERT_EQ(write(fan, sixty), ModbusException::none);
  for (int tenth = 0; tenth < 19; ++tenth) {  // the guard alone feeds nobody else's share
    pass_s(0.1);
    ASSERT_EQ(write(guards, 10), ModbusException::none);
  }
  EXPECT_FALSE(served_.tripped());
  pass_s(0.2);
  EXPECT_TRUE(served_.tripped());
  EXPECT_EQ(served_.trip_cause(), "no client wrote anything");
}

TEST_F(Served, NeedsNoHeartbeatWhileNothingIsDriven) {
  ASSERT_EQ(write(selector, 1), ModbusException::none);
  pass_s(10.0);
  EXPECT_FALSE(served_.tripped());
}

TEST_F(Served, RefusesWhatTheBenchCannotDo) {
  EXPECT_EQ(write(selector, 9), ModbusException::illegal_value);
  EXPECT_EQ(write(5, 0), ModbusException::illegal_address);
  std::array<std::uint16_t, 2> words{};
  EXPECT_EQ(served_.read(RegisterTable::input, 13, words), ModbusException::illegal_address);
  EXPECT_EQ(served_.read(RegisterTable::holding, 65535, std::span(words).first(1)),
            ModbusException::illegal_address);
  // All or nothing: the second of two is refused, so the first is not carried out.
  const std::array<std::uint16_t, 2> fan_and_selector{1000, 9};
  EXPECT_EQ(served_.write(fan, fan_and_selector), ModbusException::illegal_value);
  EXPECT_EQ(holding(fan), 0);
  // Blades are not changed under wind.
  ASSERT_EQ(write(fan, 1000), ModbusException::none);
  EXPECT_EQ(write(pitch, 8000), ModbusException::server_failure);
  EXPECT_EQ(holding(pitch), 0);
}

TEST_F(Served, PassesWithRequestsWhereItIsToldTo) {
  ServedBench stepping(bench_, device_, {.watchdog_s = 2.0, .passes_with_requests = true});
  const auto before = device_.now();
  std::array<std::uint16_t, 9> words{};
  ASSERT_EQ(stepping.read(RegisterTable::input, 0, words), ModbusException::none);
  ASSERT_EQ(stepping.read(RegisterTable::input, 3, std::span(words).first(1)),
            ModbusException::none);
  ASSERT_EQ(stepping.read(RegisterTable::holding, 0, std::span(words).first(1)),
            ModbusException::none);
  EXPECT_EQ(device_.now() - before, std::chrono::milliseconds(20));
}

// What is served and what a client is told to read are the same registers.
TEST_F(Served, TheClientsBenchNamesTheServedRegisters) {
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "scratch" / "client-bench";
  std::filesystem::remove_all(folder);
  std::filesystem::copy(demo.parent_path(), folder, std::filesystem::copy_options::recursive);
  base::write_whole(folder / "client.toml", text_of_client_bench(bench_, "127.0.0.1", 1502));
  const bench::Bench client = bench::bench_from_file(folder / "client.toml");
  const auto& device = std::get<bench::ModbusTcpDevice>(client.device);
  EXPECT_EQ(device.port, 1502);
  const RegisterMap& map = served_.map();
  EXPECT_EQ(device.unit.heartbeat_address, map.heartbeat_address);
  EXPECT_EQ(device.unit.reset_address, map.reset_address);
  EXPECT_EQ(device.unit.guard_heartbeat_address, map.guard_heartbeat_address);
  ASSERT_EQ(device.unit.channels.size(), map.channels.size());
  for (std::size_t i = 0; i < map.channels.size(); ++i) {
    EXPECT_EQ(device.unit.channels[i].address, map.channels[i].address);
    EXPECT_EQ(device.unit.channels[i].table, map.channels[i].table);
    EXPECT_EQ(device.unit.channels[i].type, map.channels[i].type);
  }
  for (std::size_t i = 0; i < map.actuators.size(); ++i) {
    ASSERT_EQ(device.unit.actuators[i].has_value(), !bench_.actuators[i].manual);
    if (!device.unit.actuators[i]) continue;
    EXPECT_EQ(device.unit.actuators[i]->place.address, map.actuators[i].place.address);
    EXPECT_EQ(device.unit.actuators[i]->scale, map.actuators[i].scale);
  }
  // Once more through it, and nothing is there twice.
  base::write_whole(folder / "again.toml", text_of_client_bench(client, "127.0.0.1", 1503));
  EXPECT_EQ(
      std::get<bench::ModbusTcpDevice>(bench::bench_from_file(folder / "again.toml").device).port,
      1503);
}

}  // namespace
}  // namespace windwright::devices
