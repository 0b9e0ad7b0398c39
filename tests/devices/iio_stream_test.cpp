// SPDX-License-Identifier: Apache-2.0
#include "devices/iio_stream.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/iio_table.h"
#include "devices/open_device.h"
#include "devices/sample_stream.h"
#include "devices/streamed_device.h"
#include "iio_server.h"
#include "instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstdint>
#include <memory>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

// The document type is what libiio's own contexts print; it checks what it reads against it.
constexpr const char* document_type =
    R"(<?xml version="1.0" encoding="utf-8"?><!DOCTYPE context [<!ELEMENT context (device | context-attribute)*><!ELEMENT context-attribute EMPTY><!ELEMENT device (channel | attribute | debug-attribute | buffer-attribute)*><!ELEMENT channel (scan-element?, attribute*)><!ELEMENT attribute EMPTY><!ELEMENT scan-element EMPTY><!ELEMENT debug-attribute EMPTY><!ELEMENT buffer-attribute EMPTY><!ATTLIST context name CDATA #REQUIRED description CDATA #IMPLIED><!ATTLIST context-attribute name CDATA #REQUIRED value CDATA #REQUIRED><!ATTLIST device id CDATA #REQUIRED name CDATA #IMPLIED><!ATTLIST channel id CDATA #REQUIRED type (input|output) #REQUIRED name CDATA #IMPLIED><!ATTLIST scan-element index CDATA #REQUIRED format CDATA #REQUIRED scale CDATA #IMPLIED><!ATTLIST attribute name CDATA #REQUIRED filename CDATA #IMPLIED><!ATTLIST debug-attribute name CDATA #REQUIRED><!ATTLIST buffer-attribute name CDATA #REQUIRED>]>)";

constexpr const char* attributes_of_voltage =
    R"(<attribute name="scale" filename="in_voltage_scale" /><attribute name="offset" filename="in_voltage_offset" />)";

/// A converter of two channels, a time stamp, a trigger and an output converter.
std::string context_xml(const std::string& first_format, const std::string& second_format) {
  return std::string(document_type) +
         R"(<context name="local" description="bench"><device id="iio:device0" name="adc0">)" +
         fmt::format(
             R"(<channel id="voltage0" type="input"><scan-element index="0" format="{}" />)",
             first_format) +
         attributes_of_voltage + "</channel>" +
         fmt::format(
             R"(<channel id="voltage1" type="input"><scan-element index="1" format="{}" />)",
             second_format) +
         attributes_of_voltage + "</channel>" +
         R"(<channel id="timestamp" type="input"><scan-element index="2" format="le:s64/64&gt;&gt;0" /></channel>)" +
         R"(<attribute name="sampling_frequency" /><attribute name="sampling_frequency_available" /></device>)" +
         R"(<device id="iio:device1" name="dac0"><channel id="voltage0" type="output"><attribute name="raw" filename="out_voltage0_raw" /></channel>)" +
         R"(<channel id="voltage1" type="output"><attribute name="raw" filename="out_voltage1_raw" /></channel></device>)" +
         R"(<device id="trigger0" name="timer0"></device></context>)";
}

std::string little_endian(std::uint64_t value, int bytes) {
  std::string text;
  for (int i = 0; i < bytes; ++i)
    text += static_cast<char>(value >> (8 * i));
  return text;
}

std::string big_endian(std::uint64_t value, int bytes) {
  std::string text = little_endian(value, bytes);
  return {text.rbegin(), text.rend()};
}

/// A bench of a signed channel of 16 bits (-4.096 to 4.096 V) and one of 12 bits (0 to 4.096 V),
/// left-aligned and big-endian; both count the samples.
struct Trial {
  bench::Bench bench = instrument_bench();
  bench::IioDevice described{};
  IioServer server;
  std::unique_ptr<StreamedDevice> device;

  Trial() {
    bench.channels[0].converter = {.lower_V = -4.096, .upper_V = 4.096, .bits = 16};
    bench.channels[1].converter = {.lower_V = 0.0, .upper_V = 4.096, .bits = 12};
    server.xml = context_xml("le:s16/16&gt;&gt;0", "be:u12/16&gt;&gt;4");
    server.attributes = {{"iio:device0 sampling_frequency", "50"},
                         {"iio:device0 sampling_frequency_available", "50 100 200"},
                         {"iio:device0 INPUT voltage0 scale", "0.125"},
                         {"iio:device0 INPUT voltage0 offset", "0"},
                         {"iio:device0 INPUT voltage1 scale", "1.0"},
                         {"iio:device0 INPUT voltage1 offset", "0"}};
    server.sample_bytes = 4;
    server.sample = [](std::int64_t n) {
      return little_endian(static_cast<std::uint64_t>(n - 32768), 2) +
             big_endian(static_cast<std::uint64_t>(n % 4096) << 4U | 0x5U, 2);
    };
    described = {.uri = server.uri(),
                 .name = "adc0",
                 .trigger = "",
                 .gaps_by_time = false,
                 .channels = {"voltage0", "voltage1"},
                 .outputs = {{.device = "dac0",
                              .channel = "voltage0",
                              .counts = {.per_unit = 40.95, .at_zero = 0.0, .of_positions = {}}},
                             {.device = "dac0",
                              .channel = "voltage1",
                              .counts = {.of_positions = {0.0, 4095.0}}}},
                 .timeout_s = 0.08,
                 .longest_outage_s = 30.0,
                 .longest_drift_s = 0.5};
  }

  void open() {
    device = std::make_unique<StreamedDevice>(
        bench, Streaming{.name = "converter",
                         .open = [this]() -> std::unique_ptr<SampleStream> {
                           return std::make_unique<IioStream>(bench, described);
                         },
                         .ask = {},
                         .longest_outage_s = described.longest_outage_s,
                         .longest_drift_s = described.longest_drift_s,
                         .clock = server.clock()});
  }

  std::string fault() {
    try {
      open();
    } catch (const base::DeviceFault& fault) {
      return fault.what();
    }
    return "none";
  }
};

struct Follower {
  StreamedDevice& device;
  std::int64_t next = 0;
  std::int64_t shift = -1;  // what the counts say minus the device's count
  int gaps = 0;

  void read(std::int64_t tolerance = 0) {
    bench::SampleBlock block;
    device.read(block);
    ASSERT_GT(block.samples, 0U);
    ASSERT_EQ(block.gap_before, block.first_sample != next);
    ASSERT_GE(block.first_sample, next);
    if (block.gap_before) ++gaps;
    const std::int64_t first = block.channel(1)[0];
    if (shift < 0) shift = (first - block.first_sample % 4096 + 4096) % 4096;
    const std::int64_t off = (first - (block.first_sample + shift)) % 4096;
    ASSERT_LE(std::min(std::abs(off), 4096 - std::abs(off)), tolerance);
    for (std::size_t i = 0; i < block.samples; ++i) {
      ASSERT_EQ(block.channel(1)[i], (first + static_cast<std::int64_t>(i)) % 4096);
      ASSERT_EQ(block.channel(0)[i] % 4096, block.channel(1)[i]);
    }
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
  }
};

TEST(IioStream, GivesEverySampleAsTheFormatSays) {
  Trial trial;
  trial.open();
  EXPECT_EQ(trial.server.written("iio:device0 sampling_frequency"), "100;");
  Follower follower{*trial.device};
  for (int i = 0; i < 50; ++i)
    ASSERT_NO_FATAL_FAILURE(follower.read());
  EXPECT_EQ(follower.next, 500);
  EXPECT_EQ(follower.gaps, 0);
  EXPECT_TRUE(trial.device->remarks().empty());
}

// Formats as the kernel's ABI writes them: [be|le]:[s|u]bits/storage>>shift.
TEST(IioStream, ReadsSignShiftAndByteOrder) {
  struct Case {
    const char* format;
    int bits;
    double lower_V;
    double upper_V;
    std::string first;   // count 0 from the bottom of its range
    std::string second;  // count 5
  };
  const Case cases[] = {
      {"le:u12/16&gt;&gt;0", 12, 0.0, 0.512, std::string("\x00\xf0", 2),
       std::string("\x05\x00", 2)},
      {"le:s12/16&gt;&gt;4", 12, -0.256, 0.256, std::string("\x0f\x80", 2),
       std::string("\x50\x80", 2)},
      {"be:s16/16&gt;&gt;0", 16, -4.096, 4.096, std::string("\x80\x00", 2),
       std::string("\x80\x05", 2)},
      {"be:u24/32&gt;&gt;8", 24, 0.0, 2097.152, std::string("\0\0\0\x7f", 4),
       std::string("\0\0\5\x7f", 4)},
      {"le:s24/32&gt;&gt;0", 24, -1048.576, 1048.576, std::string("\0\0\x80\xff", 4),
       std::string("\5\0\x80\0", 4)},
      {"le:u8/8&gt;&gt;0", 8, 0.0, 0.032, std::string("\0", 1), std::string("\5", 1)}};
  for (const Case& one : cases) {
    Trial trial;
    trial.bench.channels.resize(1);
    trial.described.channels.resize(1);
    trial.bench.channels[0].converter = {
        .lower_V = one.lower_V, .upper_V = one.upper_V, .bits = one.bits};
    trial.server.xml = context_xml(one.format, "le:u8/8&gt;&gt;0");
    trial.server.sample_bytes = one.first.size();
    trial.server.sample = [&](std::int64_t n) { return n % 2 == 0 ? one.first : one.second; };
    trial.open();
    bench::SampleBlock block;
    trial.device->read(block);
    ASSERT_EQ(block.samples, 10U) << one.format;
    for (std::size_t i = 0; i < 10; ++i) {
      const std::int32_t expected = (block.channel(0)[0] == 0) == (i % 2 == 0) ? 0 : 5;
      EXPECT_EQ(block.channel(0)[i], expected) << one.format;
    }
  }
}

TEST(IioStream, ALinkThatFailsAHundredTimesComesBackWithEveryGapRecorded) {
  using Misdeed = IioServer::Misdeed;
  Trial trial;
  trial.server.misdeed_one_in = 6;
  for (int kind = 0; kind < static_cast<int>(Misdeed::count); ++kind)
    trial.server.kinds.push_back(static_cast<Misdeed>(kind));
  trial.open();
  Follower follower{*trial.device};
  while (trial.server.misdeeds() < 100)
    ASSERT_NO_FATAL_FAILURE(follower.read(15));
  // The last may not be seen yet, and some befall the first reading after another.
  EXPECT_GT(follower.gaps, 60);
  EXPECT_LE(follower.gaps, 100);
  ASSERT_EQ(trial.device->remarks().size(), 1U);
  EXPECT_NE(trial.device->remarks()[0].find("had to be started again"), std::string::npos);
}

TEST(IioStream, LeapsOfItsTimeStampsAreGaps) {
  Trial trial;
  trial.described.gaps_by_time = true;
  trial.server.sample_bytes = 16;
  int leaps = 0;
  trial.server.sample = [&](std::int64_t n) {
    // Every 64th sample three are lost; jitter of a third of a period is none.
    const std::int64_t number = n + 3 * (n / 64);
    if (n % 64 == 0) ++leaps;
    const std::int64_t time_ns =
        10'000'000 * number + (n % 3) * 1'500'000 + 1'700'000'000'000'000'000;
    return little_endian(static_cast<std::uint64_t>(number - 32768), 2) +
           big_endian(static_cast<std::uint64_t>(number % 4096) << 4U, 2) + std::string(4, '\0') +
           little_endian(static_cast<std::uint64_t>(time_ns), 8);
  };
  trial.open();
  Follower follower{*trial.device};
  for (int i = 0; i < 100; ++i)
    ASSERT_NO_FATAL_FAILURE(follower.read());
  EXPECT_NEAR(follower.gaps, leaps, 1);
  EXPECT_GT(follower.gaps, 10);
  EXPECT_NE(trial.device->remarks().at(0).find("lost"), std::string::npos);
}

TEST(IioStream, DrivesOutputsAndLeavesThemSafe) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  trial.device->set("load_selector", 0.0);
  trial.device->set("fan_pct", 62.5);
  trial.device->read(block);
  trial.device->stop();
  EXPECT_EQ(trial.server.written("iio:device1 OUTPUT voltage0 raw"), "2559;0;");
  EXPECT_EQ(trial.server.written("iio:device1 OUTPUT voltage1 raw"), "0;4095;");
}

TEST(IioStream, SaysWhatDoesNotFit) {
  const auto says = [](const std::function<void(Trial&)>& change, const std::string& expected) {
    Trial trial;
    change(trial);
    const std::string fault = trial.fault();
    EXPECT_NE(fault.find(expected), std::string::npos) << fault;
  };
  says([](Trial& trial) { trial.described.name = "adc7"; }, "there are: adc0, dac0, timer0");
  says([](Trial& trial) { trial.described.channels[0] = "voltage9"; },
       "no scan channel 'voltage9': the names there are: voltage0, voltage1, timestamp");
  says([](Trial& trial) { trial.bench.channels[0].converter.bits = 12; },
       "'voltage0' gives 16 bits of 16: bits of air_speed_m_s, which is 12");
  says([](Trial& trial) { trial.bench.channels[1].converter.upper_V = 10.0; },
       "'voltage1' spans 0 to 4.096 V by its scale and offset: range_V of rotor_speed_rad_s, which "
       "is 0 to 10");
  says([](Trial& trial) { trial.described.outputs[0].channel = "voltage4"; },
       "'dac0' has no output 'voltage4'");
  says([](Trial& trial) { trial.described.trigger = "dac0"; }, "'dac0' is no trigger");
  says([](Trial& trial) { trial.described.uri = "ip:127.0.0.1:1"; }, "refused");
}

TEST(IioStream, SaysWhichRatesThereAre) {
  Trial trial;
  trial.server.fixed = true;
  const std::string fault = trial.fault();
  EXPECT_NE(fault.find("samples 50 times a second and cannot be set to 100 (Invalid argument): "
                       "sample_rate_hz in [bench]; it offers 50 100 200"),
            std::string::npos)
      << fault;
}

TEST(IioStream, GivesUpWhereNothingSensibleComes) {
  using Misdeed = IioServer::Misdeed;
  for (const Misdeed misdeed : {Misdeed::garbage, Misdeed::silence, Misdeed::drip}) {
    Trial trial;
    trial.described.longest_outage_s = 2.0;
    trial.server.misdeed_one_in = 1;
    trial.server.kinds = {misdeed};
    trial.open();
    bench::SampleBlock block;
    EXPECT_THROW(trial.device->read(block), base::DeviceFault);
  }
  // libiio's own timeout begins anew with every byte; described like this it takes minutes.
  Trial dripping;
  dripping.described.longest_outage_s = 0.5;
  dripping.server.drips = true;
  EXPECT_NE(dripping.fault().find("not described within 0.4 s"), std::string::npos);
  Trial garbled;
  garbled.server.xml = "\xf0\x81<context";
  EXPECT_NE(garbled.fault().find("cannot be opened"), std::string::npos);
}

}  // namespace
}  // namespace windwright::devices
