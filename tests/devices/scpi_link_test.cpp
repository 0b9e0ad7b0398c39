// SPDX-License-Identifier: Apache-2.0
#include "devices/scpi_link.h"

#include "base/errors.h"
#include "devices/instrument_bench.h"
#include "devices/polled_device.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <random>
#include <span>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

/// An instrument with an identity, readings and a queue of errors, as IEEE 488.2 and SCPI have
/// them.
struct Peer {
  std::function<std::string(const std::string&)> reading = [](const std::string& query) {
    return query == "MEAS:VOLT? (@1,2)" ? "+5.00000000E+00,2.50000000E+00" : "";
  };
  std::vector<std::string> errors;
  std::vector<std::string> commands;
  std::function<void()> before_read = [] {};
  std::size_t piece = 4096;
  int opened = 0;
  bool is_silent = false;

  std::string answer(const std::string& message) {
    if (is_silent) return "";
    if (message == "*IDN?") return "Bench works,Model 7,0001,1.0\n";
    if (message == "*CLS") {
      errors.clear();
      return "";
    }
    if (message == "SYST:ERR?") {
      if (errors.empty()) return "+0,\"No error\"\n";
      const std::string first = errors.front();
      errors.erase(errors.begin());
      return first + "\n";
    }
    const std::string found = reading(message);
    if (!found.empty()) return found + "\n";
    if (message.ends_with('?') || message.starts_with("BAD"))
      errors.emplace_back("-113,\"Undefined header\"");
    else
      commands.push_back(message);
    return "";
  }
};

class PeerStream final : public ByteStream {
 public:
  explicit PeerStream(Peer& peer) : peer_(peer) { ++peer.opened; }
  std::size_t read(std::span<char> buffer, double /*longest_s*/) override {
    peer_.before_read();
    const std::size_t count = std::min({buffer.size(), ready_.size(), peer_.piece});
    std::copy_n(ready_.begin(), count, buffer.begin());
    ready_.erase(0, count);
    return count;
  }
  void write(std::string_view bytes, double /*longest_s*/) override {
    ASSERT_TRUE(bytes.ends_with('\n'));
    ready_ += peer_.answer(std::string(bytes.substr(0, bytes.size() - 1)));
  }

 private:
  Peer& peer_;
  std::string ready_;
};

bench::ScpiDevice described() {
  return {.endpoint = bench::TcpAddress{.host = "127.0.0.1", .port = 5025},
          .identity = "Model 7",
          .queries = {{.text = "MEAS:VOLT? (@1,2)",
                       .items = {{.channel = 0, .index = 0, .meaning = {}},
                                 {.channel = 1, .index = 1, .meaning = {}}}}},
          .error_query = "SYST:ERR?",
          .commands = {{.text = "SOUR:VOLT {value}", .values = {}},
                       {.text = "OUTP {value}", .values = {"OFF", "ON"}}},
          .timeout_s = 0.2,
          .longest_outage_s = 5.0};
}

struct Asked {
  bench::Bench bench = instrument_bench();
  bench::ScpiDevice scpi = described();
  Peer peer;

  ScpiLink link() { return ScpiLink(bench, scpi, std::make_unique<PeerStream>(peer)); }
  std::array<std::int32_t, 2> counts() {
    std::array<std::int32_t, 2> found{};
    link().read(found);
    return found;
  }
};

TEST(ScpiLink, IsSeenToBeOpenByAnAnswer) {
  Asked asked;
  ScpiLink link = asked.link();
  asked.peer.is_silent = true;
  EXPECT_NO_THROW(link.feed()) << "it has just been heard";
  std::this_thread::sleep_for(1s);
  EXPECT_THROW(link.feed(), LinkLost);
  asked.peer.is_silent = false;
  EXPECT_NO_THROW(link.feed());
}

TEST(ScpiLink, OneAnswerHoldsSeveralChannels) {
  Asked asked;
  EXPECT_EQ(asked.counts(), (std::array<std::int32_t, 2>{32768, 16384}));
  asked.peer.piece = 1;
  EXPECT_EQ(asked.counts(), (std::array<std::int32_t, 2>{32768, 16384}));
}

// SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (from memory): 9.9E37 is infinity, 9.91E37 not a number.
TEST(ScpiLink, OverloadIsTheEndOfTheRangeAndNotANumberIsMissed) {
  Asked asked;
  asked.peer.reading = [](const std::string& query) {
    return query.starts_with("MEAS") ? "+9.90000000E+37,-9.90000000E+37" : "";
  };
  EXPECT_EQ(asked.counts(), (std::array<std::int32_t, 2>{65535, 0}));
  asked.peer.reading = [](const std::string& query) {
    return query.starts_with("MEAS") ? "1,+9.91E+37" : "";
  };
  EXPECT_THROW(asked.counts(), SampleMissed);
}

TEST(ScpiLink, AnAnswerThatIsNoneEndsTheConnection) {
  for (const char* answer : {"5", "5,", "5,x", "5,nan", "\xff\xfe", "5;6", "#15abcde"}) {
    Asked asked;
    asked.peer.reading = [&](const std::string& query) {
      return query.starts_with("MEAS") ? answer : "";
    };
    EXPECT_THROW(asked.counts(), LinkLost) << answer;
  }
  Asked asked;
  asked.peer.reading = [&](const std::string& query) {
    return query.starts_with("MEAS") ? std::string(9000, '1') : std::string();
  };
  EXPECT_THROW(asked.counts(), LinkLost);
}

// An answer too many would be taken for the next one's.
TEST(ScpiLink, WhatWasNotAskedForEndsTheConnection) {
  Asked asked;
  asked.peer.reading = [](const std::string& query) {
    return query.starts_with("MEAS") ? "1,2\n3,4" : "";
  };
  ScpiLink link = asked.link();
  std::array<std::int32_t, 2> counts{};
  link.read(counts);
  EXPECT_THROW(link.read(counts), LinkLost);
}

TEST(ScpiLink, AnotherInstrumentIsAFault) {
  Asked asked;
  asked.scpi.identity = "Model 8";
  try {
    asked.link();
    FAIL();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("Model 7,0001"), std::string::npos) << fault.what();
  }
}

TEST(ScpiLink, WhatTheInstrumentRefusesIsAFaultWithItsWords) {
  Asked asked;
  asked.scpi.commands[0].text = "BAD {value}";
  ScpiLink link = asked.link();
  link.set(1, 1.0);
  EXPECT_EQ(asked.peer.commands, std::vector<std::string>{"OUTP ON"});
  const auto expect_refused = [](const std::function<void()>& act, const std::string& what) {
    try {
      act();
      ADD_FAILURE() << what;
    } catch (const base::DeviceFault& fault) {
      EXPECT_NE(std::string(fault.what()).find("refused '" + what + "': -113,\"Undefined header\""),
                std::string::npos)
          << fault.what();
    }
  };
  expect_refused([&] { link.set(0, 7.5); }, "BAD 7.5");
  EXPECT_TRUE(asked.peer.errors.empty());
  asked.scpi.queries[0].text = "FETC?";
  std::array<std::int32_t, 2> counts{};
  expect_refused([&] { link.read(counts); }, "FETC?");
}

TEST(ScpiLink, HasTheInstrumentMakeItselfSafeWhereItCan) {
  Asked asked;
  asked.link().make_safe();
  EXPECT_TRUE(asked.peer.commands.empty());
  asked.scpi.stop_command = "*RST";
  asked.link().make_safe();
  EXPECT_EQ(asked.peer.commands, std::vector<std::string>{"*RST"});
  asked.scpi.stop_command = "BAD";
  EXPECT_THROW(asked.link().make_safe(), base::DeviceFault);
}

TEST(ScpiLink, OldErrorsAreNotBlamedOnNewCommands) {
  Asked asked;
  asked.peer.errors = {"-222,\"Data out of range\""};
  ScpiLink link = asked.link();
  EXPECT_NO_THROW(link.set(0, 3.0));
}

// Behind a device that is polled: cuts, silence, garbage and slow bytes at random.
TEST(ScpiLink, CutFiftyTimesItComesBackWithEveryGapRecorded) {
  Asked asked;
  SteadyClock::Time time{1000h};
  std::mt19937 random(17);
  int cuts = 0;
  bool garbage = false;
  asked.peer.before_read = [&] {
    if (random() % 400 == 0) {
      ++cuts;
      throw LinkLost("closed by the instrument");
    }
    garbage = random() % 400 == 0;
    asked.peer.piece = 1 + random() % 30;
  };
  asked.peer.reading = [&](const std::string& query) -> std::string {
    if (!query.starts_with("MEAS")) return "";
    if (garbage) return "\x80\x81\x82";
    return "5,2.5";
  };
  PolledDevice device(
      asked.bench,
      {.name = "instrument",
       .connect = [&]() -> std::unique_ptr<Link> {
         time += 12ms;
         return std::make_unique<ScpiLink>(asked.bench, asked.scpi,
                                           std::make_unique<PeerStream>(asked.peer));
       },
       .ask = {},
       .longest_outage_s = 5.0,
       .clock = {.now = [&] { return time; },
                 .sleep_until = [&](SteadyClock::Time until) { time = std::max(time, until); }}});
  bench::SampleBlock block;
  std::int64_t next = 0;
  int gaps = 0;
  while (cuts < 50) {
    device.read(block);
    ASSERT_EQ(block.gap_before, block.first_sample != next);
    if (block.gap_before) ++gaps;
    for (const std::int32_t count : block.channel(0))
      ASSERT_EQ(count, 32768);
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
  }
  EXPECT_GE(gaps, 40);
  EXPECT_GE(asked.peer.opened, 50);
}

}  // namespace
}  // namespace windwright::devices
