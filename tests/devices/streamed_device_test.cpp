// SPDX-License-Identifier: Apache-2.0
#include "devices/streamed_device.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/sample_stream.h"
#include "instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

/// A converter that takes a sample every `period` of a clock that only reading moves, and gives its
/// number, in readings of 7.
struct World {
  SteadyClock::Time time{1000h};
  SteadyClock::Time begun = time;
  std::chrono::nanoseconds period = 10ms;
  std::function<void()> before_read = [] {};
  int opened = 0;
  std::string written;
  std::vector<std::string> asked;
};

class FakeStream final : public SampleStream {
 public:
  explicit FakeStream(World& world)
      : world_(world), next_((world.time - world.begun) / world.period) {
    ++world.opened;
  }
  void read(Chunk& chunk) override {
    world_.before_read();
    chunk.counts.clear();
    chunk.time_ns.clear();
    for (int i = 0; i < 7; ++i, ++next_) {
      const auto count = static_cast<std::int32_t>(next_ % 65536);
      chunk.counts.insert(chunk.counts.end(), {count, count});
    }
    world_.time = std::max(world_.time, world_.begun + next_ * world_.period);
  }
  void set(std::size_t actuator, double value) override {
    world_.written += fmt::format("{}={:g};", actuator, value);
  }

 private:
  World& world_;
  std::int64_t next_;
};

struct Trial {
  bench::Bench bench = instrument_bench();
  World world;
  std::unique_ptr<StreamedDevice> device;

  void open() {
    device = std::make_unique<StreamedDevice>(
        bench, Streaming{.name = "converter",
                         .open = [this]() -> std::unique_ptr<SampleStream> {
                           return std::make_unique<FakeStream>(world);
                         },
                         .ask =
                             [this](const std::string& what) {
                               world.asked.push_back(what);
                               world.time += 30s;
                             },
                         .longest_outage_s = 5.0,
                         .longest_drift_s = 0.5,
                         .clock = {.now = [this] { return world.time; },
                                   .sleep_until =
                                       [this](SteadyClock::Time until) {
                                         world.time = std::max(world.time, until);
                                       }}});
  }
};

TEST(StreamedDevice, MakesWholeBlocksOfReadingsOfAnotherSize) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  for (std::int64_t i = 0; i < 100; ++i) {
    trial.device->read(block);
    ASSERT_EQ(block.samples, 10U);
    ASSERT_EQ(block.first_sample, 10 * i);
    ASSERT_FALSE(block.gap_before);
    for (std::size_t k = 0; k < 10; ++k)
      ASSERT_EQ(block.channel(1)[k], 10 * i + static_cast<std::int64_t>(k));
  }
  EXPECT_TRUE(trial.device->remarks().empty());
}

TEST(StreamedDevice, ABufferThatRanOverIsAGapOfWhatWasMissed) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  trial.device->read(block);
  int overruns = 0;
  trial.world.before_read = [&] {
    if (overruns++ > 0) return;
    trial.world.time += 500ms;
    throw LinkLost("the buffer ran over");
  };
  std::int64_t next = 10;
  int gaps = 0;
  for (int i = 0; i < 20; ++i) {
    trial.device->read(block);
    if (block.gap_before) {
      ++gaps;
      EXPECT_NEAR(static_cast<double>(block.first_sample - next), 50.0, 1.0);
    }
    EXPECT_NEAR(block.channel(0)[0], static_cast<double>(block.first_sample), 1.0);
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
  }
  EXPECT_EQ(gaps, 1);
  EXPECT_EQ(trial.device->remarks().at(0),
            "the converter had to be started again 1 time; the last because the buffer ran over");
}

TEST(StreamedDevice, NothingFromBeforeAKnownInputIsShownAfterIt) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  trial.device->read(block);
  trial.device->apply_known_input("air_speed_m_s", 7.0);
  trial.device->read(block);
  EXPECT_TRUE(block.gap_before);
  EXPECT_GE(block.first_sample, 3000);  // 30 s later
  EXPECT_GE(block.channel(0)[0], 3000);
  EXPECT_EQ(trial.world.opened, 2);
  EXPECT_EQ(trial.world.asked.size(), 1U);
}

TEST(StreamedDevice, StopsABenchThatWasDrivenUnseen) {
  Trial trial;
  trial.open();
  bench::SampleBlock block;
  trial.device->set("load_selector", 0.0);
  trial.device->set("fan_pct", 60.0);
  trial.world.before_read = [&] {
    trial.world.time += 700ms;
    throw LinkLost("gone");
  };
  EXPECT_THROW(trial.device->read(block), base::DeviceFault);
  EXPECT_EQ(trial.world.written, "1=0;0=60;0=0;1=1;");
}

TEST(StreamedDevice, GivesWhatCameBeforeItTellsThatTheDeviceIsLost) {
  Trial trial;
  trial.open();
  int reads = 0;
  trial.world.before_read = [&] {
    if (++reads > 5) throw LinkLost("gone");
  };
  bench::SampleBlock block;
  std::size_t samples = 0;
  for (int i = 0; i < 4; ++i) {
    trial.device->read(block);
    EXPECT_FALSE(block.gap_before);
    samples += block.samples;
  }
  EXPECT_EQ(samples, 35U);  // 5 readings of 7
  EXPECT_EQ(block.channel(1)[4], 34);
  EXPECT_THROW(trial.device->set("fan_pct", 50.0), base::DeviceFault);
  EXPECT_EQ(trial.world.written, "");
  EXPECT_THROW(trial.device->read(block), base::DeviceFault);
}

TEST(StreamedDevice, TellsAWrongRate) {
  Trial trial;
  trial.world.period = 9ms;
  trial.open();
  bench::SampleBlock block;
  try {
    for (int i = 0; i < 1000; ++i)
      trial.device->read(block);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("takes 111"), std::string::npos) << fault.what();
  }
}

}  // namespace
}  // namespace windwright::devices
