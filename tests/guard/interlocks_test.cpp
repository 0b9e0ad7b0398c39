// SPDX-License-Identifier: Apache-2.0
#include "guard/interlocks.h"

#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

using bench::Interlock;
using Kind = Interlock::Kind;

constexpr double rate_hz = 1000.0;
constexpr std::size_t in_block = 10;

// Two channels of 0 to 10 V, read in volts.
bench::Bench two_channels(std::vector<Interlock> interlocks) {
  bench::Bench bench{};
  bench.sample_rate_hz = rate_hz;
  bench.block_s = in_block / rate_hz;
  for (const char* name : {"rotor_speed_rad_s", "dc_voltage_V"}) {
    bench::Channel channel{};
    channel.name = name;
    channel.unit = "V";
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = 12};
    bench.channels.push_back(channel);
  }
  bench.interlocks = std::move(interlocks);
  return bench;
}

std::vector<metrology::Certificate> volts_as_they_are() {
  metrology::Certificate certificate{};
  certificate.model = "line";
  certificate.fit.coefficients = {0.0, 1.0};
  for (double* range : {certificate.reference_range, certificate.reading_range}) {
    range[0] = 0.0;
    range[1] = 10.0;
  }
  return {certificate, certificate};
}

std::int32_t count_of(double value_V) {
  return static_cast<std::int32_t>(std::lround(value_V / 10.0 * 4096.0 - 0.5));
}

// A device's blocks, one after the other.
class Blocks {
 public:
  /// @param speed_V, voltage_V  of every sample; `ripple` moves them by a count up and down
  bench::SampleBlock next(double speed_V, double voltage_V, bool ripple = true) {
    bench::SampleBlock block;
    block.first_sample = sample_;
    block.start = base::UtcTime{std::chrono::milliseconds(sample_)} + step_;
    block.channels = 2;
    block.samples = in_block;
    for (const double value_V : {speed_V, voltage_V}) {
      for (std::size_t i = 0; i < in_block; ++i)
        block.counts.push_back(count_of(value_V) + (ripple && i % 2 == 1 ? 1 : 0));
    }
    sample_ += in_block;
    return block;
  }
  void step_clock(std::chrono::milliseconds by) { step_ += by; }
  void miss(std::int64_t samples) { sample_ += samples; }

 private:
  std::int64_t sample_ = 0;
  std::chrono::milliseconds step_{0};
};

Interlock interlock_of(Kind kind, std::string name) {
  Interlock interlock{};
  interlock.kind = kind;
  interlock.name = std::move(name);
  interlock.cause = "too fast";
  interlock.check = "the load";
  return interlock;
}

Interlock bound(std::string name, double highest, int category = 0) {
  Interlock interlock = interlock_of(Kind::bound, std::move(name));
  interlock.channel = "rotor_speed_rad_s";
  interlock.highest = highest;
  interlock.stop_category = category;
  return interlock;
}

TEST(Interlocks, TripsAtTheFirstBlockBeyondABoundAndLatches) {
  const bench::Bench bench = two_channels({bound("overspeed", 5.0)});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  EXPECT_FALSE(interlocks.judge(blocks.next(4.9, 1.0)));
  const std::optional<Trip> trip = interlocks.judge(blocks.next(5.1, 1.0));
  ASSERT_TRUE(trip);
  EXPECT_EQ(trip->interlock, "overspeed");
  EXPECT_EQ(trip->stop_category, 0);
  EXPECT_EQ(trip->cause, "interlock 'overspeed': rotor_speed_rad_s is 5.1 V, above 5: too fast");
  EXPECT_EQ(trip->seen, "above");
  EXPECT_NEAR(trip->value, 5.1, 0.01);
  EXPECT_EQ(trip->check, "the load");
  EXPECT_EQ(trip->time, base::UtcTime{std::chrono::milliseconds(10)});
  // Told once; the cause is kept though it is gone.
  EXPECT_FALSE(interlocks.judge(blocks.next(5.2, 1.0)));
  EXPECT_FALSE(interlocks.reset());
  EXPECT_FALSE(interlocks.judge(blocks.next(1.0, 1.0)));
  ASSERT_TRUE(interlocks.first_out());
  EXPECT_EQ(interlocks.first_out()->interlock, "overspeed");
  EXPECT_TRUE(interlocks.reset());
  EXPECT_FALSE(interlocks.first_out());
  EXPECT_TRUE(interlocks.judge(blocks.next(5.2, 1.0)));
}

TEST(Interlocks, HasALowerBoundToo) {
  Interlock interlock = bound("battery empty", 9.0);
  interlock.lowest = 2.0;
  const bench::Bench bench = two_channels({interlock});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  EXPECT_FALSE(interlocks.judge(blocks.next(2.1, 1.0)));
  const auto trip = interlocks.judge(blocks.next(1.9, 1.0));
  ASSERT_TRUE(trip);
  EXPECT_NE(trip->cause.find("is 1.902 V, below 2"), std::string::npos) << trip->cause;
  EXPECT_EQ(trip->seen, "below");
}

TEST(Interlocks, StandsUntilTheValueIsInsideByTheHysteresis) {
  Interlock interlock = bound("overspeed", 5.0);
  interlock.hysteresis = 0.5;
  const bench::Bench bench = two_channels({interlock});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  EXPECT_FALSE(interlocks.judge(blocks.next(4.9, 1.0)));  // not tightened before it trips
  EXPECT_TRUE(interlocks.judge(blocks.next(5.1, 1.0)));
  interlocks.judge(blocks.next(4.7, 1.0));
  EXPECT_EQ(interlocks.standing(), std::vector<std::string>{"overspeed"});
  EXPECT_FALSE(interlocks.reset());
  interlocks.judge(blocks.next(4.4, 1.0));
  EXPECT_TRUE(interlocks.standing().empty());
  EXPECT_TRUE(interlocks.reset());
}

TEST(Interlocks, WaitsOutItsHoldTimeInOnePiece) {
  Interlock interlock = bound("overspeed", 5.0);
  interlock.hold_s = 0.03;
  const bench::Bench bench = two_channels({interlock});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  for (int i = 0; i < 3; ++i)
    EXPECT_FALSE(interlocks.judge(blocks.next(5.5, 1.0))) << i;
  EXPECT_FALSE(interlocks.judge(blocks.next(4.0, 1.0)));
  for (int i = 0; i < 3; ++i)
    EXPECT_FALSE(interlocks.judge(blocks.next(5.5, 1.0))) << i;
  EXPECT_TRUE(interlocks.judge(blocks.next(5.5, 1.0)));
}

TEST(Interlocks, CountsTheEndOfTheConverterAndNoNumberAsBeyond) {
  const bench::Bench bench = two_channels({bound("overspeed", 50.0)});
  {
    Interlocks interlocks(bench, volts_as_they_are(), {});
    Blocks blocks;
    bench::SampleBlock block = blocks.next(5.0, 1.0);
    std::fill_n(block.counts.begin(), in_block, 4095);
    const auto trip = interlocks.judge(block);
    ASSERT_TRUE(trip);
    EXPECT_NE(trip->cause.find("upper end of its converter"), std::string::npos) << trip->cause;
    EXPECT_EQ(trip->seen, "upper_end");
  }
  auto certificates = volts_as_they_are();
  certificates[0].fit.coefficients = {0.0, 0.0};  // a value over nought
  Interlocks interlocks(bench, certificates, {});
  Blocks blocks;
  EXPECT_TRUE(interlocks.judge(blocks.next(0.0, 1.0)));
}

// A dead speed sensor would blind the overspeed trip: the generator tells on it.
TEST(Interlocks, TwoSensorsThatOughtToAgreeJudgeEachOther) {
  Interlock interlock = bound("speed sensor implausible", 1.0);
  interlock.channel = "dc_voltage_V";
  interlock.with = "rotor_speed_rad_s";
  interlock.factor = 2.0;
  const bench::Bench bench = two_channels({interlock});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  EXPECT_FALSE(interlocks.judge(blocks.next(3.0, 6.9)));
  EXPECT_FALSE(interlocks.judge(blocks.next(3.0, 0.1)));
  const auto trip = interlocks.judge(blocks.next(0.1, 6.9));
  ASSERT_TRUE(trip);
  EXPECT_NE(trip->cause.find("dc_voltage_V less 2 times rotor_speed_rad_s is 6.702 V, above 1"),
            std::string::npos)
      << trip->cause;
}

TEST(Interlocks, SeesALostSensorAndAStuckOne) {
  Interlock lost = interlock_of(Kind::lost, "sensor lost");
  lost.channel = "rotor_speed_rad_s";
  Interlock stuck = interlock_of(Kind::stuck, "sensor stuck");
  stuck.channel = "dc_voltage_V";
  stuck.hold_s = 0.025;
  const bench::Bench bench = two_channels({lost, stuck});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  // It may rest for two blocks, or on another count.
  EXPECT_FALSE(interlocks.judge(blocks.next(5.0, 4.0, false)));
  EXPECT_FALSE(interlocks.judge(blocks.next(5.0, 4.0, false)));
  EXPECT_FALSE(interlocks.judge(blocks.next(5.0, 4.1, false)));
  EXPECT_FALSE(interlocks.judge(blocks.next(5.0, 4.1, true)));
  for (int i = 0; i < 2; ++i)
    EXPECT_FALSE(interlocks.judge(blocks.next(5.0, 4.2, false))) << i;
  const auto trip = interlocks.judge(blocks.next(5.0, 4.2, false));
  ASSERT_TRUE(trip);
  EXPECT_EQ(trip->interlock, "sensor stuck");

  Interlocks again(bench, volts_as_they_are(), {});
  bench::SampleBlock block = blocks.next(5.0, 4.0);
  std::fill_n(block.counts.begin(), in_block, 0);
  const auto gone = again.judge(block);
  ASSERT_TRUE(gone);
  EXPECT_EQ(gone->interlock, "sensor lost");
}

TEST(Interlocks, SeesAStepOfTheClockButNotMissedSamples) {
  Interlock clock = interlock_of(Kind::clock, "clock");
  clock.highest = 0.05;
  const bench::Bench bench = two_channels({clock});
  for (const int step_ms : {-200, 200, 20}) {
    Interlocks interlocks(bench, volts_as_they_are(), {});
    Blocks blocks;
    EXPECT_FALSE(interlocks.judge(blocks.next(1.0, 1.0)));
    blocks.miss(500);
    EXPECT_FALSE(interlocks.judge(blocks.next(1.0, 1.0)));
    blocks.step_clock(std::chrono::milliseconds(step_ms));
    EXPECT_EQ(interlocks.judge(blocks.next(1.0, 1.0)).has_value(), std::abs(step_ms) > 50);
  }
}

TEST(Interlocks, SeesADiskThatIsNearlyFull) {
  const auto free_MB = static_cast<double>(std::filesystem::space(BUILD_FOLDER).available) / 1e6;
  for (const double lowest : {0.5 * free_MB, 2.0 * free_MB}) {
    Interlock disk = interlock_of(Kind::disk, "disk");
    disk.lowest = lowest;
    const bench::Bench bench = two_channels({disk});
    Interlocks interlocks(bench, volts_as_they_are(), {.folder = BUILD_FOLDER});
    Blocks blocks;
    EXPECT_EQ(interlocks.judge(blocks.next(1.0, 1.0)).has_value(), lowest > free_MB);
    Interlocks elsewhere(bench, volts_as_they_are(), {});
    EXPECT_FALSE(elsewhere.judge(blocks.next(1.0, 1.0)));
  }
}

TEST(Interlocks, TellsOfALaterTripOnlyWhereItAsksForAHarderStop) {
  const bench::Bench bench =
      two_channels({bound("warm", 5.0, 1), bound("fast", 6.0, 1), bound("much too fast", 7.0, 0)});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  ASSERT_TRUE(interlocks.judge(blocks.next(5.5, 1.0)));
  EXPECT_FALSE(interlocks.judge(blocks.next(6.5, 1.0)));
  const auto harder = interlocks.judge(blocks.next(7.5, 1.0));
  ASSERT_TRUE(harder);
  EXPECT_EQ(harder->interlock, "much too fast");
  EXPECT_EQ(harder->stop_category, 0);
  EXPECT_EQ(interlocks.first_out()->interlock, "warm");
  EXPECT_EQ(interlocks.standing().size(), 3U);
  // Of several in one block the hardest stop.
  Interlocks at_once(bench, volts_as_they_are(), {});
  EXPECT_EQ(at_once.judge(blocks.next(8.0, 1.0))->interlock, "much too fast");
}

TEST(Interlocks, WhatFollowsTheFirstCauseIsOneLineWithCounts) {
  const bench::Bench bench = two_channels(
      {{.name = "overspeed", .channel = "rotor_speed_rad_s", .highest = 5.0, .stop_category = 1},
       {.name = "over-voltage", .channel = "dc_voltage_V", .highest = 6.0, .stop_category = 1}});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  int told = 0;
  const auto judge = [&](double speed_V, double voltage_V) {
    told += interlocks.judge(blocks.next(speed_V, voltage_V)) ? 1 : 0;
  };
  judge(4.0, 4.0);
  EXPECT_EQ(in_words(interlocks.followers()), "");
  judge(5.5, 4.0);
  EXPECT_EQ(in_words(interlocks.followers()), "") << "the first cause does not follow itself";
  for (int i = 0; i < 40; ++i) {
    judge(i % 8 < 4 ? 4.0 : 5.5, i % 2 == 0 ? 7.0 : 4.0);
  }
  EXPECT_EQ(told, 1) << "no flood";
  EXPECT_EQ(interlocks.first_out()->interlock, "overspeed");
  EXPECT_EQ(in_words(interlocks.followers()),
            "followed by overspeed (5 times), over-voltage (20 times)");
  judge(4.0, 4.0);
  ASSERT_TRUE(interlocks.reset());
  EXPECT_EQ(in_words(interlocks.followers()), "");
}

TEST(Interlocks, TellHowSoonSomebodyHasToAct) {
  const bench::Bench bench = two_channels({{.name = "overspeed",
                                            .channel = "rotor_speed_rad_s",
                                            .highest = 5.0,
                                            .consequence = Interlock::Consequence::injury,
                                            .priority = Interlock::Priority::high,
                                            .respond = "at once",
                                            .cause = "too fast",
                                            .check = "the load"}});
  Interlocks interlocks(bench, volts_as_they_are(), {});
  Blocks blocks;
  const std::optional<Trip> trip = interlocks.judge(blocks.next(5.5, 4.0));
  ASSERT_TRUE(trip);
  EXPECT_EQ(trip->consequence, "injury");
  const std::string words = in_words(*trip);
  EXPECT_NE(words.find("too fast; next: the load; priority high, respond at once"),
            std::string::npos)
      << words;
}

// The graver and the harder the stop, the higher: no pair the other way round.
TEST(Interlocks, UsualPriorityFollowsConsequenceAndStop) {
  using enum Interlock::Consequence;
  using enum Interlock::Priority;
  EXPECT_EQ(Interlock::usual_priority(injury, 2), high);
  EXPECT_EQ(Interlock::usual_priority(damage, 0), high);
  EXPECT_EQ(Interlock::usual_priority(damage, 1), medium);
  EXPECT_EQ(Interlock::usual_priority(lost_run, 2), low);
  for (const auto consequence : {injury, damage, lost_run}) {
    for (int category = 0; category < 2; ++category) {
      EXPECT_LE(Interlock::usual_priority(consequence, category),
                Interlock::usual_priority(consequence, category + 1));
    }
  }
  for (int category = 0; category <= 2; ++category) {
    EXPECT_LE(Interlock::usual_priority(injury, category),
              Interlock::usual_priority(damage, category));
    EXPECT_LE(Interlock::usual_priority(damage, category),
              Interlock::usual_priority(lost_run, category));
  }
}

}  // namespace
}  // namespace windwright::guard
