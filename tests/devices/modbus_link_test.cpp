// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_link.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/modbus_instrument.h"
#include "devices/name_server.h"
#include "devices/open_device.h"
#include "devices/polled_device.h"
#include "instrument_bench.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;
using bench::RegisterTable;

constexpr int fan_address = 4;
constexpr int heartbeat_address = 20;
constexpr int reset_address = 21;
constexpr int guard_heartbeat_address = 22;
constexpr int stop_address = 23;

bench::Bench two_channels() {
  bench::Bench bench = instrument_bench();
  bench.block_s = 0.05;
  bench.actuators.resize(1);  // the fan
  return bench;
}

bench::ModbusUnit unit() {
  return {.unit = 17,
          .timeout_s = 0.03,
          .longest_outage_s = 60.0,
          .channels = {{.address = 0, .table = RegisterTable::input},
                       {.address = 1, .table = RegisterTable::input}},
          .actuators = {bench::ModbusActuator{.place = {.address = fan_address}, .scale = 100.0}},
          .heartbeat_address = heartbeat_address,
          .guard_heartbeat_address = guard_heartbeat_address,
          .reset_address = reset_address,
          .stop_address = stop_address};
}

bench::ModbusTcpDevice at_port(int port) {
  return {.host = "127.0.0.1", .port = port, .unit = unit()};
}

/// Time that only waiting moves: no test takes longer than its answers do.
SteadyClock quick_clock() {
  auto time = std::make_shared<SteadyClock::Time>(1000h);
  return {.now = [time] { return *time; },
          .sleep_until = [time](SteadyClock::Time until) { *time = std::max(*time, until); }};
}

PolledDevice polled(const bench::Bench& bench, Connect connect) {
  return PolledDevice(bench, {.name = "instrument",
                              .connect = std::move(connect),
                              .ask = {},
                              .longest_outage_s = 60.0,
                              .clock = quick_clock()});
}

/// Reads until the instrument has done that many misdeeds: every sample is one that it gave, later
/// than the one before, and what was missed is a gap.
void expect_only_true_samples(PolledDevice& device, const Temper& temper, int misdeeds) {
  bench::SampleBlock block;
  std::int64_t next = 0;
  std::int32_t last = 0;
  int gaps = 0;
  while (temper.misdeeds() < misdeeds) {
    device.read(block);
    ASSERT_GT(block.samples, 0U);
    if (block.gap_before) {
      ++gaps;
      EXPECT_GT(block.first_sample, next);
    } else {
      EXPECT_EQ(block.first_sample, next);
    }
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
    for (std::size_t i = 0; i < block.samples; ++i) {
      EXPECT_GT(block.channel(0)[i], last);
      last = block.channel(0)[i];
      EXPECT_EQ(block.channel(1)[i], 65535 - last);
    }
  }
  EXPECT_GT(gaps, misdeeds / 4);  // some befall the connecting, within the same gap
}

TEST(ModbusLink, ReadsWritesAndBeats) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  const bench::ModbusTcpDevice described = at_port(served.port());
  const auto link = modbus_connector(bench, described)();
  EXPECT_EQ(instrument.written(reset_address), 1);
  EXPECT_EQ(instrument.written(heartbeat_address), 1);
  std::vector<std::int32_t> sample(2);
  link->read(sample);
  EXPECT_EQ(sample, (std::vector<std::int32_t>{2, 65533}));
  EXPECT_EQ(instrument.written(heartbeat_address), 2);
  link->set(0, 60.25);
  EXPECT_EQ(instrument.written(fan_address), 6025);
}

TEST(ModbusLink, WaitsNoLongerForANameThanForAnAnswer) {
  const SilentNameServer nobody;
  const bench::Bench bench = two_channels();
  const bench::ModbusTcpDevice described{
      .host = SilentNameServer::host, .port = 502, .unit = unit()};
  for (const Connect& connect :
       {modbus_connector(bench, described), modbus_guard_connector(bench, described)}) {
    try {
      connect();
      FAIL() << "connected to nobody";
    } catch (const LinkLost& lost) {
      EXPECT_STREQ(lost.what(), "host bench.silent.invalid: its name was not looked up in time");
    }
  }
}

TEST(ModbusLink, FindsAnInstrumentByItsName) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  bench::ModbusTcpDevice described = at_port(served.port());
  described.host = "localhost";
  described.unit.timeout_s = 2.0;
  std::vector<std::int32_t> sample(2);
  modbus_connector(bench, described)()->read(sample);
  EXPECT_EQ(sample, (std::vector<std::int32_t>{2, 65533}));
}

TEST(ModbusLink, ResetsOnTheFirstConnectionOnly) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  const bench::ModbusTcpDevice described = at_port(served.port());
  const Connect connect = modbus_connector(bench, described);
  connect();
  const std::uint16_t none = 0;
  instrument.write(reset_address, std::span(&none, 1));
  connect();
  EXPECT_EQ(instrument.written(reset_address), 0);
}

TEST(ModbusLink, TellsWhatTheInstrumentRefuses) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  bench::ModbusTcpDevice described = at_port(served.port());
  described.unit.channels[1].address = 2;
  try {
    modbus_connector(bench, described)();
    FAIL();
  } catch (const base::DeviceFault& fault) {
    const std::string text = fault.what();
    EXPECT_NE(text.find("input registers at addresses 2 to 2: Illegal data address"),
              std::string::npos)
        << text;
  }
}

TEST(ModbusLink, ACountThatTheConverterCannotGiveIsNoSample) {
  bench::Bench bench = two_channels();
  bench.channels[1].converter.bits = 12;
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  const bench::ModbusTcpDevice described = at_port(served.port());
  try {
    modbus_connector(bench, described)();
    FAIL();
  } catch (const LinkLost& lost) {
    EXPECT_STREQ(lost.what(),
                 "rotor_speed_rad_s shows 65534, which its converter of 12 bits cannot");
  }
}

TEST(ModbusLink, GivesNothingButTrueSamplesWhateverTheNetworkDoes) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper bad({Misdeed::close_before, Misdeed::close_within, Misdeed::garbage,
              Misdeed::garbage_behind, Misdeed::other_transaction, Misdeed::silence,
              Misdeed::half_an_answer, Misdeed::drip, Misdeed::busy},
             13);
  const TcpInstrument served(instrument, bad);
  const bench::ModbusTcpDevice described = at_port(served.port());
  PolledDevice device = polled(bench, modbus_connector(bench, described));
  expect_only_true_samples(device, bad, 60);
}

TEST(ModbusLink, FiftyCutsAreFiftyGapsAtMostAndNothingElse) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper bad({Misdeed::close_before, Misdeed::close_within}, 17);
  const TcpInstrument served(instrument, bad);
  bench::ModbusTcpDevice described = at_port(served.port());
  described.unit.heartbeat_address.reset();
  PolledDevice device = polled(bench, modbus_connector(bench, described));
  expect_only_true_samples(device, bad, 50);
}

TEST(ModbusLink, TheSerialLineGivesNothingButTrueSamplesEither) {
  const bench::Bench bench = two_channels();
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "scratch" / "modbus-serial";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  InstrumentRegisters instrument;
  Temper bad({Misdeed::close_before, Misdeed::garbage, Misdeed::silence, Misdeed::half_an_answer,
              Misdeed::busy},
             13);
  const SerialInstrument served(instrument, bad, folder / "line");
  const bench::ModbusRtuDevice described{
      .port = folder / "line", .baud = 19200, .parity = 'E', .stop_bits = 1, .unit = unit()};
  PolledDevice device = polled(bench, modbus_connector(bench, described));
  expect_only_true_samples(device, bad, 50);
  device.set("fan_pct", 12.5);
  EXPECT_EQ(instrument.written(fan_address), 1250);
}

TEST(ModbusLink, TheSafeStateIsTheInstrumentsOwnAndThenEachCommand) {
  const bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper good({}, 0);
  const TcpInstrument served(instrument, good);
  bench::ModbusTcpDevice described = at_port(served.port());
  {
    PolledDevice device = polled(bench, modbus_connector(bench, described));
    device.stop();
    EXPECT_EQ(instrument.written(stop_address), 1);
    EXPECT_EQ(instrument.written(fan_address), 0);
  }
  described.unit.stop_address.reset();
  instrument.write(stop_address, std::vector<std::uint16_t>{7});
  PolledDevice device = polled(bench, modbus_connector(bench, described));
  device.set("fan_pct", 12.5);
  device.stop();
  EXPECT_EQ(instrument.written(stop_address), 7);
  EXPECT_EQ(instrument.written(fan_address), 0);
}

// A peer that takes connections and never gives a sample must not be waited for for ever.
TEST(ModbusLink, APeerThatOnlyAcceptsIsGivenUp) {
  bench::Bench bench = two_channels();
  InstrumentRegisters instrument;
  Temper mute({Misdeed::silence}, 1);
  const TcpInstrument served(instrument, mute);
  bench::ModbusTcpDevice described = at_port(served.port());
  described.unit.timeout_s = 0.01;
  described.unit.reset_address.reset();
  bench.device = described;
  EXPECT_THROW(open_device(bench, twin::Pace::real_time, {}), base::DeviceFault);
}

}  // namespace
}  // namespace windwright::devices
