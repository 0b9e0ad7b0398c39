// SPDX-License-Identifier: Apache-2.0
#include "devices/comedi_stream.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/comedi_board.h"
#include "devices/streamed_device.h"
#include "instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstring>
#include <functional>
#include <memory>
#include <random>
#include <string>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;
using Reference = bench::ComediDevice::Reference;

/// A board of 16 bits whose every value counts the samples, on a clock that only reading moves.
struct World {
  SteadyClock::Time time{1000h};
  SteadyClock::Time begun = time;
  std::size_t value_bytes = 2;
  std::uint32_t largest = 65535;
  std::uint32_t least_period_ns = 1000;
  std::vector<ComediInput::Range> ranges{{.lower_V = -10.0, .upper_V = 10.0},
                                         {.lower_V = 0.0, .upper_V = 10.0}};
  std::function<std::size_t()> piece = [] { return std::size_t{4096}; };  // bytes of a reading
  std::function<void()> before_read = [] {};
  std::vector<ComediScan> scans;
  std::string written;
  int opened = 0;

  std::int64_t taken() const { return (time - begun) / 10ms; }
};

class FakeBoard final : public ComediBoard {
 public:
  explicit FakeBoard(World& world) : world_(world) { ++world.opened; }
  unsigned streaming_subdevice() override { return 0; }
  unsigned channels(unsigned /*subdevice*/) override { return 16; }
  ComediInput input(unsigned /*subdevice*/, unsigned /*channel*/) override {
    return {.largest_count = world_.largest, .ranges = world_.ranges};
  }
  std::size_t value_bytes(unsigned /*subdevice*/) override { return world_.value_bytes; }
  std::uint32_t start(unsigned /*subdevice*/, std::span<const ComediScan> scans,
                      std::uint32_t period_ns) override {
    world_.scans.assign(scans.begin(), scans.end());
    next_ = world_.taken();
    return std::max(period_ns, world_.least_period_ns);
  }
  std::size_t read(std::span<std::byte> bytes, double /*longest_s*/) override {
    world_.before_read();
    if (ready_.empty()) {
      for (int i = 0; i < 5; ++i, ++next_)
        add_sample();
      world_.time = std::max(world_.time, world_.begun + next_ * 10ms);
    }
    const std::size_t count = std::min({bytes.size(), ready_.size(), world_.piece()});
    std::memcpy(bytes.data(), ready_.data(), count);
    ready_.erase(0, count);
    return count;
  }
  void write_analog(const bench::ComediDevice::Output& output, std::uint32_t count) override {
    world_.written += fmt::format("analog {} {} = {};", output.subdevice, output.channel, count);
  }
  void write_digital(const bench::ComediDevice::Output& output, std::uint32_t bits) override {
    world_.written +=
        fmt::format("digital {} {}+{} = {};", output.subdevice, output.channel, output.lines, bits);
  }

 private:
  void add_sample() {
    for (std::size_t c = 0; c < world_.scans.size(); ++c) {
      const auto value = static_cast<std::uint32_t>((next_ + static_cast<std::int64_t>(c)) % 65536);
      char bytes[4];
      std::memcpy(bytes, &value, sizeof value);
      ready_.append(bytes, world_.value_bytes);
    }
  }

  World& world_;
  std::int64_t next_ = 0;
  std::string ready_;
};

struct Trial {
  bench::Bench bench = instrument_bench();
  World world;
  bench::ComediDevice described{
      .file = "/dev/comedi0",
      .subdevice = {},
      .channels = {{.channel = 4, .range = {}, .reference = Reference::differential},
                   {.channel = 5, .range = 1, .reference = Reference::ground}},
      .outputs = {{.kind = bench::ComediDevice::Output::Kind::analog,
                   .subdevice = 1,
                   .channel = 0,
                   .counts = {.per_unit = 655.35, .of_positions = {}}},
                  {.kind = bench::ComediDevice::Output::Kind::digital,
                   .subdevice = 2,
                   .channel = 3,
                   .lines = 2,
                   .counts = {.of_positions = {0.0, 2.0}}}},
      .timeout_s = 0.5,
      .longest_outage_s = 5.0,
      .longest_drift_s = 0.5};
  std::unique_ptr<StreamedDevice> device;

  void open() {
    device = std::make_unique<StreamedDevice>(
        bench, Streaming{.name = "board",
                         .open = [this]() -> std::unique_ptr<SampleStream> {
                           return std::make_unique<ComediStream>(
                               bench, described, std::make_unique<FakeBoard>(world));
                         },
                         .ask = {},
                         .longest_outage_s = described.longest_outage_s,
                         .longest_drift_s = described.longest_drift_s,
                         .clock = {.now = [this] { return world.time; },
                                   .sleep_until =
                                       [this](SteadyClock::Time until) {
                                         world.time = std::max(world.time, until);
                                       }}});
  }

  std::string fault() {
    try {
      open();
      bench::SampleBlock block;
      device->read(block);
    } catch (const base::DeviceFault& fault) {
      return fault.what();
    }
    return "none";
  }
};

TEST(ComediStream, AssemblesSamplesOutOfBytesInAnyPieces) {
  for (const std::size_t value_bytes : {2U, 4U}) {
    Trial trial;
    std::mt19937 random(5);
    trial.world.value_bytes = value_bytes;
    trial.world.piece = [&] { return std::size_t{1 + random() % 9}; };
    trial.open();
    bench::SampleBlock block;
    for (std::int32_t i = 0; i < 50; ++i) {
      trial.device->read(block);
      ASSERT_EQ(block.samples, 10U);
      ASSERT_FALSE(block.gap_before);
      for (std::int32_t k = 0; k < 10; ++k) {
        ASSERT_EQ(block.channel(0)[static_cast<std::size_t>(k)], 10 * i + k);
        ASSERT_EQ(block.channel(1)[static_cast<std::size_t>(k)], 10 * i + k + 1);
      }
    }
    // Range 1 of the board is range_V, found by itself and named.
    ASSERT_EQ(trial.world.scans.size(), 2U);
    EXPECT_EQ(trial.world.scans[0].channel, 4U);
    EXPECT_EQ(trial.world.scans[0].range, 1U);
    EXPECT_EQ(trial.world.scans[0].reference, Reference::differential);
  }
}

TEST(ComediStream, FiftyOverrunsAreFiftyGaps) {
  Trial trial;
  std::mt19937 random(3);
  int overruns = 0;
  bool fresh = false;  // opened anew and nothing read: a second overrun would be of the same gap
  trial.world.before_read = [&] {
    if (fresh || random() % 6 != 0) {
      fresh = false;
      return;
    }
    fresh = true;
    ++overruns;
    trial.world.time += std::chrono::milliseconds(100 + random() % 500);
    throw LinkLost("samples were lost");
  };
  trial.open();
  bench::SampleBlock block;
  std::int64_t next = 0;
  int gaps = 0;
  while (overruns < 50) {
    trial.device->read(block);
    ASSERT_EQ(block.gap_before, block.first_sample != next);
    if (block.gap_before) ++gaps;
    ASSERT_NEAR(block.channel(0)[0], static_cast<double>(block.first_sample), 6.0);
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
  }
  EXPECT_GE(gaps, 48);
  EXPECT_LE(gaps, 50);
}

TEST(ComediStream, DrivesOutputsAndLeavesThemSafe) {
  Trial trial;
  trial.open();
  trial.device->set("load_selector", 0.0);
  trial.device->set("fan_pct", 50.0);
  trial.device->stop();
  EXPECT_EQ(trial.world.written,
            "digital 2 3+2 = 0;analog 1 0 = 32768;analog 1 0 = 0;digital 2 3+2 = 2;");
}

TEST(ComediStream, SaysWhatDoesNotFit) {
  const auto says = [](const std::function<void(Trial&)>& change, const std::string& expected) {
    Trial trial;
    change(trial);
    const std::string fault = trial.fault();
    EXPECT_NE(fault.find(expected), std::string::npos) << fault;
  };
  says([](Trial& trial) { trial.described.channels[0].channel = 16; },
       "subdevice 0 has no channel 16");
  says([](Trial& trial) { trial.world.largest = 4095; },
       "channel 4 counts to 4095: bits of air_speed_m_s, which is 16");
  says([](Trial& trial) { trial.bench.channels[0].converter.upper_V = 5.0; },
       "no range of channel 4 is 0 to 5 V: range_V and range of air_speed_m_s; the board has "
       "0: -10 to 10 V, 1: 0 to 10 V");
  says([](Trial& trial) { trial.described.channels[1].range = 0; },
       "range 0 of channel 5 is not 0 to 10 V");
  says(
      [](Trial& trial) { trial.world.least_period_ns = 20'000'000; },
      "it cannot scan 2 channels 100 times a second: sample_rate_hz in [bench]; 50 is the nearest");
  says([](Trial& trial) { trial.world.piece = [] { return std::size_t{0}; }; },
       "no sample within 0.5 s");
}

TEST(ComediStream, WithoutABoardItSaysWhatToDo) {
  try {
    open_comedi_board("/dev/comedi-not-there");
    FAIL();
  } catch (const LinkLost& lost) {
    EXPECT_EQ(
        std::string(lost.what()),
        "there is no /dev/comedi-not-there; load the board's kernel module, and where it does "
        "not find the board by itself name it with comedi_config");
  }
}

}  // namespace
}  // namespace windwright::devices
