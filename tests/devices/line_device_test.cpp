// SPDX-License-Identifier: Apache-2.0
#include "devices/line_device.h"

#include "base/errors.h"
#include "devices/instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <functional>
#include <memory>
#include <random>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

/// A microcontroller that takes a sample every 10 ms of a clock that only waiting moves, and sends
/// its number in all columns.
struct World {
  SteadyClock::Time time{1000h};
  SteadyClock::Time begun = time;
  std::int64_t sent = 0;     // lines, of the samples taken so far
  std::size_t piece = 4096;  // bytes that one reading gives
  std::function<std::string(std::int64_t)> line = [](std::int64_t n) {
    return fmt::format("{},{},{}\n", n, n % 65536, n % 65536);
  };
  std::function<void()> before_read = [] {};
  std::function<void()> before_open = [] {};
  bool silent = false;
  std::string written;
  std::vector<std::string> asked;

  double seconds() const { return std::chrono::duration<double>(time - begun).count(); }
  std::int64_t taken() const { return static_cast<std::int64_t>(seconds() * 100.0 + 1e-6) + 1; }
};

class FakeStream final : public ByteStream {
 public:
  explicit FakeStream(World& world) : world_(world) { world_.sent = world_.taken() - 1; }
  std::size_t read(std::span<char> buffer, double longest_s) override {
    world_.before_read();
    if (ready_.empty()) collect();
    if (ready_.empty() && longest_s > 0.0) {
      world_.time += std::chrono::nanoseconds(
          std::llround(1e9 * (world_.silent ? longest_s : std::min(longest_s, 0.01))));
      collect();
    }
    const std::size_t count = std::min({buffer.size(), ready_.size(), world_.piece});
    std::copy_n(ready_.begin(), count, buffer.begin());
    ready_.erase(0, count);
    return count;
  }
  void write(std::string_view bytes, double /*longest_s*/) override { world_.written += bytes; }

 private:
  void collect() {
    if (world_.silent) return;
    for (; world_.sent < world_.taken(); ++world_.sent)
      ready_ += world_.line(world_.sent);
  }
  World& world_;
  std::string ready_;
};

struct Trial {
  bench::Bench bench = instrument_bench();
  bench::LinesDevice described = counted_lines();
  World world;
  std::unique_ptr<LineDevice> device;

  void open() {
    device = std::make_unique<LineDevice>(
        bench, described,
        Receiving{.open = [this]() -> std::unique_ptr<ByteStream> {
                    world.before_open();
                    return std::make_unique<FakeStream>(world);
                  },
                  .ask =
                      [this](const std::string& what) {
                        world.asked.push_back(what);
                        world.time += 30s;
                      },
                  .clock = {.now = [this] { return world.time; },
                            .sleep_until =
                                [this](SteadyClock::Time until) {
                                  world.time = std::max(world.time, until);
                                }}});
  }
};

// Reads blocks and checks that the device's count and the numbers in the lines go together.
struct Follower {
  LineDevice& device;
  std::int64_t next = 0;
  std::int64_t shift = -1;  // what the line says minus the device's count
  int gaps = 0;
  base::UtcTime start{};

  void read(std::int64_t tolerance = 0) {
    bench::SampleBlock block;
    device.read(block);
    ASSERT_GT(block.samples, 0U);
    ASSERT_EQ(block.channels, 2U);
    EXPECT_EQ(block.gap_before, block.first_sample != next);
    EXPECT_GE(block.first_sample, next);
    EXPECT_GE(block.start, start);
    start = block.start;
    if (block.gap_before) ++gaps;
    if (shift < 0) shift = block.channel(0)[0] - block.first_sample;
    for (std::size_t i = 0; i < block.samples; ++i) {
      const auto expected = block.first_sample + static_cast<std::int64_t>(i) + shift;
      ASSERT_NEAR(static_cast<double>(block.channel(0)[i]), static_cast<double>(expected % 65536),
                  static_cast<double>(tolerance));
      ASSERT_EQ(block.channel(0)[i], block.channel(1)[i]);
    }
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
  }
};

TEST(LineDevice, GivesEverySampleInBlocks) {
  Trial trial;
  trial.open();
  Follower follower{*trial.device};
  for (int i = 0; i < 50; ++i)
    follower.read();
  EXPECT_EQ(follower.next, 500);
  EXPECT_EQ(follower.gaps, 0);
  EXPECT_TRUE(trial.device->remarks().empty());
}

TEST(LineDevice, APeerThatSendsByteByByteLosesNothing) {
  Trial trial;
  trial.world.piece = 1;
  trial.open();
  Follower follower{*trial.device};
  for (int i = 0; i < 50; ++i)
    follower.read();
  EXPECT_EQ(follower.next, 500);
  EXPECT_EQ(follower.gaps, 0);
}

TEST(LineDevice, BrokenLinesAreGapsAndTold) {
  std::mt19937 random(9);
  for (const bool counted : {true, false}) {
    Trial trial;
    if (!counted) trial.described.counter.reset();
    int broken = 0;
    trial.world.line = [&](std::int64_t n) {
      std::string line = fmt::format("{0},{0},{0}\n", n);
      if (n == 0 || n % 20 != 0) return line;
      ++broken;
      const char* garbage[] = {"\xff\x01\x81#\n", "17,\n", "1,nan,2\n", ",,\n", "\n"};
      return std::string(garbage[random() % 5]);
    };
    trial.open();
    Follower follower{*trial.device};
    for (int i = 0; i < 200; ++i)
      follower.read();
    EXPECT_GT(broken, 20);
    EXPECT_NEAR(follower.gaps, broken, 1);
    ASSERT_EQ(trial.device->remarks().size(), 1U);
    EXPECT_NE(trial.device->remarks()[0].find("lines could not be read"), std::string::npos);
  }
}

TEST(LineDevice, ALinkCutFiftyTimesComesBackWithEveryGapRecorded) {
  for (const bool counted : {true, false}) {
    Trial trial;
    if (!counted) trial.described.counter.reset();
    std::mt19937 random(21);
    int cuts = 0;
    int refusals = 0;
    trial.world.before_read = [&] {
      if (random() % 60 != 0) return;
      ++cuts;
      refusals = static_cast<int>(random() % 4);
      throw LinkLost("closed by the instrument");
    };
    trial.world.before_open = [&] {
      trial.world.time += 15ms;
      if (refusals-- > 0) throw LinkLost("refused");
    };
    trial.open();
    Follower follower{*trial.device};
    while (cuts < 50)
      // Without a counter the host's clock says how much was missed: to a sample or two.
      ASSERT_NO_FATAL_FAILURE(follower.read(counted ? 0 : 3));
    EXPECT_GE(follower.gaps, 40);
    EXPECT_LE(follower.gaps, 50);
  }
}

TEST(LineDevice, ASilentPeerIsConnectedAgain) {
  Trial trial;
  trial.open();
  Follower follower{*trial.device};
  for (int i = 0; i < 5; ++i)
    follower.read();
  trial.world.silent = true;
  int opened = 0;
  trial.world.before_open = [&] {
    ++opened;
    trial.world.silent = false;
  };
  for (int i = 0; i < 5; ++i)
    follower.read();
  EXPECT_EQ(opened, 1);
  EXPECT_EQ(follower.gaps, 1);
}

TEST(LineDevice, GivesUpOnSilenceOnGarbageAndOnACounterThatStands) {
  const std::function<void(World&)> troubles[] = {
      [](World& world) { world.silent = true; },
      [](World& world) { world.line = [](std::int64_t) { return "\xf0\xf1\xf2\n"; }; },
      [](World& world) { world.line = [](std::int64_t) { return std::string(100, 'z'); }; },
      [](World& world) { world.line = [](std::int64_t) { return "7,1,2\n"; }; }};
  for (const auto& trouble : troubles) {
    Trial trial;
    trial.open();
    Follower follower{*trial.device};
    follower.read();
    trouble(trial.world);
    const double before_s = trial.world.seconds();
    bench::SampleBlock block;
    EXPECT_THROW(
        {
          for (int i = 0; i < 10; ++i)
            trial.device->read(block);
        },
        base::DeviceFault);
    EXPECT_LT(trial.world.seconds() - before_s, 10.0);
  }
}

// The last samples before a device was lost are what shows why.
TEST(LineDevice, GivesWhatCameBeforeItTellsThatTheDeviceIsLost) {
  Trial trial;
  trial.open();
  Follower follower{*trial.device};
  trial.world.before_read = [&] {
    if (trial.world.seconds() > 0.365) throw LinkLost("closed by the instrument");
  };
  trial.world.before_open = [] { throw LinkLost("refused"); };
  for (int i = 0; i < 4; ++i)
    ASSERT_NO_FATAL_FAILURE(follower.read());
  EXPECT_EQ(follower.next, 36);
  EXPECT_EQ(follower.next + follower.shift, trial.world.sent);  // to the last line
  bench::SampleBlock block;
  EXPECT_THROW(trial.device->set("fan_pct", 50.0), base::DeviceFault);
  EXPECT_EQ(trial.world.written, "");
  EXPECT_THROW(trial.device->read(block), base::DeviceFault);
}

TEST(LineDevice, StopsABenchThatWasDrivenUnseen) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  trial.device->set("load_selector", 0.0);
  trial.device->set("fan_pct", 62.5);
  trial.device->read(block);
  EXPECT_EQ(trial.world.written, "LOAD OFF\nFAN 62.5\n");
  trial.world.line = [](std::int64_t) { return "garbage\n"; };
  EXPECT_THROW(
      {
        for (int i = 0; i < 10; ++i)
          trial.device->read(block);
      },
      base::DeviceFault);
  EXPECT_EQ(trial.world.written, "LOAD OFF\nFAN 62.5\nFAN 0\nLOAD ON\n");
}

TEST(LineDevice, WhatCameWhileAPersonWasAtTheBenchIsNotRead) {
  Trial trial;
  trial.open();
  Follower follower{*trial.device};
  for (int i = 0; i < 5; ++i)
    follower.read();
  int opened = 0;
  trial.world.before_open = [&] { ++opened; };
  trial.device->apply_known_input("air_speed_m_s", 7.0);
  const std::int64_t before = follower.next;
  follower.read();
  EXPECT_GE(follower.next - before, 3000);  // 30 s later
  EXPECT_EQ(follower.gaps, 1);
  EXPECT_EQ(opened, 0);
}

// A sample behind a gap waits for the next block, but not past a person's work.
TEST(LineDevice, NothingFromBeforeAKnownInputIsShownAfterIt) {
  Trial trial;
  const auto good = trial.world.line;
  trial.world.line = [&](std::int64_t n) { return n == 25 ? std::string("?\n") : good(n); };
  trial.open();
  Follower follower{*trial.device};
  while (follower.next % 10 == 0)
    ASSERT_NO_FATAL_FAILURE(follower.read());
  const std::int64_t before = follower.next;
  trial.device->apply_known_input("air_speed_m_s", 7.0);
  bench::SampleBlock block;
  trial.device->read(block);
  EXPECT_GE(block.first_sample - before, 3000);
}

TEST(LineDevice, TellsAWrongRateAndADrift) {
  Trial wrong;
  wrong.bench.sample_rate_hz = 125.0;
  wrong.bench.block_s = 0.2;
  wrong.open();
  try {
    bench::SampleBlock block;
    for (int i = 0; i < 1000; ++i)
      wrong.device->read(block);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("takes 100 samples a second"), std::string::npos)
        << fault.what();
  }
  Trial slow;
  slow.bench.sample_rate_hz = 101.0;
  slow.bench.block_s = 1.0;
  slow.open();
  bench::SampleBlock block;
  for (int i = 0; i < 100; ++i)
    slow.device->read(block);
  ASSERT_EQ(slow.device->remarks().size(), 1U);
  EXPECT_NE(slow.device->remarks()[0].find("the device behind"), std::string::npos);
}

}  // namespace
}  // namespace windwright::devices
