// SPDX-License-Identifier: Apache-2.0
#include "devices/polled_device.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "instrument_bench.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <random>
#include <span>
#include <stop_token>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

bench::Bench two_channels() {
  bench::Bench bench = instrument_bench();
  bench::Actuator pitch{};
  pitch.name = "pitch_deg";
  pitch.long_name = "pitch";
  pitch.highest = 20.0;
  pitch.manual = true;
  bench.actuators.push_back(pitch);
  return bench;
}

/// An instrument that shows in both channels how many milliseconds have passed, on a clock that
/// only sleeping and slow answers move.
struct World {
  SteadyClock::Time time{1000h};
  SteadyClock::Time begun = time;
  int reads = 0;
  std::function<void(int)> before_read = [](int) {};  // of the read with this number
  std::function<void()> before_connect = [] {};
  std::function<void(std::size_t)> before_set = [](std::size_t) {};
  std::function<void()> before_make_safe = [] {};
  std::vector<std::pair<std::size_t, double>> commands;
  std::vector<std::string> asked;
  std::stop_source stop;

  std::int32_t now_ms() const { return static_cast<std::int32_t>((time - begun) / 1ms); }
};

class FakeLink final : public Link {
 public:
  explicit FakeLink(World& world) : world_(world) {}
  void read(std::span<std::int32_t> counts) override {
    world_.before_read(world_.reads++);
    counts[0] = counts[1] = world_.now_ms();
  }
  void set(std::size_t actuator, double value) override {
    world_.before_set(actuator);
    world_.commands.emplace_back(actuator, value);
  }
  void make_safe() override { world_.before_make_safe(); }

 private:
  World& world_;
};

PolledDevice device_on(const bench::Bench& bench, World& world) {
  return PolledDevice(bench,
                      {.name = "instrument",
                       .connect = [&world]() -> std::unique_ptr<Link> {
                         world.before_connect();
                         return std::make_unique<FakeLink>(world);
                       },
                       .ask = [&world](const std::string& what) { world.asked.push_back(what); },
                       .longest_outage_s = 5.0,
                       .clock = {.now = [&world] { return world.time; },
                                 .sleep_until =
                                     [&world](SteadyClock::Time until) {
                                       world.time = std::max(world.time, until);
                                     }},
                       .stop = world.stop.get_token()});
}

// Every sample stands where the device's count says: 10 ms a sample.
void expect_true_times(const bench::SampleBlock& block) {
  for (std::size_t i = 0; i < block.samples; ++i)
    EXPECT_NEAR(block.channel(0)[i],
                10.0 * static_cast<double>(block.first_sample + static_cast<std::int64_t>(i)), 9.0);
}

TEST(PolledDevice, SamplesAtEveryTick) {
  const bench::Bench bench = two_channels();
  World world;
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  for (int i = 0; i < 5; ++i) {
    device.read(block);
    EXPECT_EQ(block.first_sample, 10 * i);
    EXPECT_EQ(block.samples, 10U);
    EXPECT_EQ(block.channels, 2U);
    EXPECT_FALSE(block.gap_before);
    expect_true_times(block);
  }
}

TEST(PolledDevice, ASlowAnswerIsAGap) {
  const bench::Bench bench = two_channels();
  World world;
  world.before_read = [&](int read) {
    if (read == 13) world.time += 57ms;
  };
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  device.read(block);
  device.read(block);
  EXPECT_EQ(block.first_sample, 10);
  EXPECT_EQ(block.samples, 4U);  // the slow one was taken late, what follows is not there
  device.read(block);
  EXPECT_TRUE(block.gap_before);
  EXPECT_EQ(block.first_sample, 18);
  EXPECT_EQ(block.samples, 10U);
  expect_true_times(block);
}

TEST(PolledDevice, ConnectsAgainAndMarksWhatWasMissed) {
  const bench::Bench bench = two_channels();
  World world;
  std::mt19937 random(11);
  int cuts = 0;
  int refusals = 0;
  world.before_read = [&](int) {
    if (random() % 40 != 0) return;
    ++cuts;
    refusals = static_cast<int>(random() % 4);
    throw LinkLost("closed by the instrument");
  };
  world.before_connect = [&] {
    world.time += 20ms;
    if (refusals-- > 0) throw LinkLost("refused");
  };
  PolledDevice device = device_on(bench, world);
  world.begun = world.time;
  bench::SampleBlock block;
  std::int64_t next = 0;
  while (cuts < 50) {
    device.read(block);
    ASSERT_GT(block.samples, 0U);
    if (block.gap_before) {
      EXPECT_GT(block.first_sample, next);
    } else {
      EXPECT_EQ(block.first_sample, next);
    }
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
    expect_true_times(block);
  }
}

TEST(PolledDevice, GivesUpAfterTheLongestOutage) {
  const bench::Bench bench = two_channels();
  World world;
  bool away = false;
  world.before_connect = [&] {
    if (away) throw LinkLost("no route");
  };
  world.before_read = [&](int read) {
    if (read < 5) return;
    away = true;
    throw LinkLost("no answer in 0.5 s");
  };
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  device.read(block);
  EXPECT_EQ(block.samples, 5U);  // what came before
  expect_true_times(block);
  EXPECT_THROW(device.set("fan_pct", 50.0), base::DeviceFault);
  EXPECT_TRUE(world.commands.empty());
  try {
    device.read(block);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    const std::string text = fault.what();
    EXPECT_NE(text.find("no answer in 0.5 s"), std::string::npos) << text;
    EXPECT_NE(text.find("no route"), std::string::npos) << text;
  }
}

TEST(PolledDevice, WaitsForNoConnectionWhenAskedToStop) {
  const bench::Bench bench = two_channels();
  World world;
  int tries = 0;
  world.before_connect = [&] {
    if (++tries == 3) world.stop.request_stop();
    if (tries > 1) throw LinkLost("no route");
  };
  world.before_read = [](int) { throw LinkLost("cable"); };
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  try {
    device.read(block);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("interrupted"), std::string::npos) << fault.what();
  }
  // Of five seconds; a link that comes back within one does not end the way down of a bench.
  EXPECT_GT(world.now_ms(), 1000);
  EXPECT_LT(world.now_ms(), 3000);
}

TEST(PolledDevice, StopsABenchThatWasDrivenUnseen) {
  const bench::Bench bench = two_channels();
  World world;
  int refusals = 0;
  world.before_connect = [&] {
    if (refusals-- > 0) throw LinkLost("refused");
  };
  world.before_read = [&](int read) {
    if (read == 3) {
      refusals = 5;  // 1.55 s of pauses
      throw LinkLost("cable");
    }
  };
  PolledDevice device = device_on(bench, world);
  device.set("load_selector", 0.0);
  device.set("fan_pct", 60.0);
  bench::SampleBlock block;
  device.read(block);
  EXPECT_EQ(block.samples, 3U);
  EXPECT_THROW(device.read(block), base::DeviceFault);
  using Command = std::pair<std::size_t, double>;
  EXPECT_EQ(world.commands, (std::vector<Command>{{1, 0.0}, {0, 60.0}, {0, 0.0}, {1, 1.0}}));
}

TEST(PolledDevice, AMissedSampleIsAGapAndTooManyAreAFault) {
  const bench::Bench bench = two_channels();
  World world;
  int connects = 0;
  world.before_connect = [&] { ++connects; };
  world.before_read = [](int read) {
    if (read == 4 || read == 5 || read >= 30) throw SampleMissed("too old");
  };
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  device.read(block);
  EXPECT_EQ(block.samples, 4U);
  device.read(block);
  EXPECT_TRUE(block.gap_before);
  EXPECT_EQ(block.first_sample, 6);
  EXPECT_EQ(block.samples, 10U);
  expect_true_times(block);
  device.read(block);
  device.read(block);
  EXPECT_EQ(block.samples, 4U);
  const auto before = world.time;
  EXPECT_THROW(device.read(block), base::DeviceFault);
  EXPECT_NEAR(std::chrono::duration<double>(world.time - before).count(), 5.0, 0.1);
  EXPECT_EQ(connects, 1);
}

TEST(PolledDevice, GivesUpOnALinkThatOpensButNeverAnswers) {
  const bench::Bench bench = two_channels();
  World world;
  int connects = 0;
  world.before_connect = [&] { ++connects; };
  world.before_read = [](int) { throw LinkLost("garbage"); };
  PolledDevice device = device_on(bench, world);
  bench::SampleBlock block;
  EXPECT_THROW(device.read(block), base::DeviceFault);
  EXPECT_LT(connects, 12);  // ever more slowly
}

TEST(PolledDevice, OneRefusalKeepsNothingElseFromBeingMadeSafe) {
  const bench::Bench bench = two_channels();
  World world;
  PolledDevice device = device_on(bench, world);
  device.set("load_selector", 0.0);
  device.set("fan_pct", 60.0);
  world.before_set = [](std::size_t actuator) {
    if (actuator == 0) throw base::DeviceFault("instrument", "refused the fan", "its converter");
  };
  device.stop();
  using Command = std::pair<std::size_t, double>;
  EXPECT_EQ(world.commands, (std::vector<Command>{{1, 0.0}, {0, 60.0}, {1, 1.0}}));
}

TEST(PolledDevice, AnUnansweredStopOfItsOwnKeepsNothingElseFromBeingMadeSafe) {
  const bench::Bench bench = two_channels();
  World world;
  world.before_make_safe = [] { throw LinkLost("no answer"); };
  PolledDevice device = device_on(bench, world);
  device.set("fan_pct", 60.0);
  world.commands.clear();
  device.stop();
  using Command = std::pair<std::size_t, double>;
  EXPECT_EQ(world.commands, (std::vector<Command>{{0, 0.0}}));
}

TEST(PolledDevice, RefusesWhatLiesOutsideTheLimitsAndAsksForWhatIsDoneByHand) {
  const bench::Bench bench = two_channels();
  World world;
  PolledDevice device = device_on(bench, world);
  EXPECT_THROW(device.set("fan_pct", 101.0), base::DeviceFault);
  EXPECT_THROW(device.set("torque", 1.0), base::BadInput);
  EXPECT_TRUE(world.commands.empty());
  device.set("pitch_deg", 5.0);
  ASSERT_EQ(world.asked.size(), 1U);
  EXPECT_NE(world.asked[0].find("pitch_deg) to 5"), std::string::npos) << world.asked[0];
  device.apply_known_input("air_speed_m_s", 7.0);
  device.remove_known_input();
  device.remove_known_input();
  EXPECT_EQ(world.asked.size(), 3U);
}

TEST(PolledDevice, SaysWhyItCannotBeReached) {
  const bench::Bench bench = two_channels();
  World world;
  world.before_connect = [] { throw LinkLost("connection refused"); };
  EXPECT_THROW(device_on(bench, world), base::DeviceFault);
}

}  // namespace
}  // namespace windwright::devices
