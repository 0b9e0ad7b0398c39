// SPDX-License-Identifier: Apache-2.0
#include "devices/guard_link.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/modbus_instrument.h"
#include "instrument_bench.h"

#include <gtest/gtest.h>

#include <memory>
#include <string>

namespace windwright::devices {
namespace {

constexpr int fan = 4;
constexpr int load = 5;
constexpr int heartbeat = 20;
constexpr int reset = 21;
constexpr int guard_heartbeat = 22;

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
               .reset_address = reset}};
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
  EXPECT_EQ(link->make_safe(), std::nullopt);
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
  InstrumentRegisters registers;
  Temper good({Misdeed::none}, 0);
  auto instrument = std::make_unique<TcpInstrument>(registers, good);
  const bench::Bench bench = bench_at(instrument->port());
  const std::unique_ptr<GuardLink> link = open_guard_link(bench);
  instrument.reset();
  EXPECT_NE(link->feed(), std::nullopt);
  EXPECT_NE(link->make_safe(), std::nullopt);
  EXPECT_THROW(open_guard_link(bench), base::DeviceFault);
}

TEST(GuardLink, ASimulatedBenchTakesNoSecondConnection) {
  bench::Bench bench = instrument_bench();
  bench.device = bench::SimulatedDevice{};
  EXPECT_EQ(open_guard_link(bench), nullptr);
}

}  // namespace
}  // namespace windwright::devices
