// SPDX-License-Identifier: Apache-2.0
#include "devices/device_clock.h"

#include "devices/instrument_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <random>

namespace windwright::devices {
namespace {

constexpr double rate_hz = 100.0;

bench::LinesDevice timed_lines() {
  bench::LinesDevice lines = counted_lines();
  lines.counter.reset();
  lines.time = 0;
  lines.time_unit_s = 1e-6;
  lines.time_bits = 32;
  return lines;
}

bench::LinesDevice bare_lines() {
  bench::LinesDevice lines = counted_lines();
  lines.counter.reset();
  return lines;
}

TEST(DeviceClock, TheCounterTellsWhatIsMissingWhateverTheDelays) {
  const bench::LinesDevice described = counted_lines();
  DeviceClock clock(described, rate_hz);
  std::mt19937 random(3);
  double host_s = 0.0;
  for (std::int64_t n = 0; n < 5000; ++n) {
    if (n % 97 > 90) continue;  // lost on the way
    // Some 3 ms on the way, at times 0.3 s, and never overtaking.
    const double delay_s = random() % 50 == 0 ? 0.3 : 1e-6 * static_cast<double>(random() % 6000);
    host_s = std::max(host_s, static_cast<double>(n) / rate_hz + delay_s);
    EXPECT_EQ(clock.place({.counter = 1000U + static_cast<std::uint64_t>(n)}, host_s), n);
  }
  EXPECT_NEAR(clock.host_s(1000), 10.0, 0.002);
  EXPECT_NEAR(clock.drift_s(), 0.0, 0.002);
  EXPECT_FALSE(clock.wrong_rate_hz());
}

TEST(DeviceClock, CountersAndTimesBeginAgain) {
  bench::LinesDevice described = counted_lines();
  described.counter_bits = 8;
  DeviceClock by_counter(described, rate_hz);
  const bench::LinesDevice timed = timed_lines();
  DeviceClock by_time(timed, rate_hz);
  // Two hours: 2^32 us are 71.6 minutes.
  for (std::int64_t n = 0; n < 720'000; ++n) {
    const double host_s = static_cast<double>(n) / rate_hz;
    ASSERT_EQ(by_counter.place({.counter = static_cast<std::uint64_t>(n) & 255U}, host_s), n);
    const auto us = (static_cast<std::uint64_t>(n) * 10'000U + 4'200'000'000U) & 0xffffffffU;
    ASSERT_EQ(by_time.place({.time = static_cast<double>(us)}, host_s), n);
  }
}

TEST(DeviceClock, AfterAnOutageTheHostSaysHowOftenTheCounterBeganAgain) {
  bench::LinesDevice described = counted_lines();
  described.counter_bits = 8;
  DeviceClock clock(described, rate_hz);
  EXPECT_EQ(clock.place({.counter = 7}, 0.0), 0);
  clock.interrupted();
  EXPECT_EQ(clock.place({.counter = (7U + 1234U) & 255U}, 12.40), 1234);
  EXPECT_EQ(clock.place({.counter = (7U + 1235U) & 255U}, 12.41), 1235);
}

TEST(DeviceClock, TheDevicesTimeTellsWhatIsMissing) {
  const bench::LinesDevice described = timed_lines();
  DeviceClock clock(described, rate_hz);
  std::mt19937 random(4);
  for (std::int64_t n = 0; n < 1000; ++n) {
    if (n % 50 > 45) continue;
    // The device samples up to 3 ms late, and the rounding does not add up.
    const double time_us = 1e4 * static_cast<double>(n) + static_cast<double>(random() % 3000);
    EXPECT_EQ(clock.place({.time = time_us}, static_cast<double>(n) / rate_hz), n);
  }
}

TEST(DeviceClock, WithoutCounterABrokenLineIsOneSampleAndAnOutageGoesByTheHost) {
  const bench::LinesDevice described = bare_lines();
  DeviceClock clock(described, rate_hz);
  EXPECT_EQ(clock.place({}, 0.00), 0);
  EXPECT_EQ(clock.place({}, 0.01), 1);
  clock.dropped();
  clock.dropped();
  EXPECT_EQ(clock.place({}, 0.04), 4);
  EXPECT_EQ(clock.place({}, 0.09), 5);  // late, not lost
  clock.interrupted();
  EXPECT_EQ(clock.place({}, 3.00), 300);
}

TEST(DeviceClock, RepeatedLinesAndWildCountersAreLeftOut) {
  const bench::LinesDevice described = counted_lines();
  DeviceClock clock(described, rate_hz);
  EXPECT_EQ(clock.place({.counter = 50}, 0.00), 0);
  EXPECT_EQ(clock.place({.counter = 51}, 0.01), 1);
  EXPECT_EQ(clock.place({.counter = 51}, 0.02), std::nullopt);
  EXPECT_EQ(clock.place({.counter = 9952}, 0.02), std::nullopt);
  EXPECT_EQ(clock.place({.counter = 3}, 0.03), std::nullopt);
  EXPECT_EQ(clock.place({.counter = 54}, 0.04), 4);
}

TEST(DeviceClock, ADeviceThatStartsAgainIsBelievedAtItsSecondLine) {
  for (const bool with_time : {false, true}) {
    const bench::LinesDevice described = with_time ? timed_lines() : counted_lines();
    DeviceClock clock(described, rate_hz);
    const auto stamp = [](std::uint64_t n) {
      return LineStamp{.counter = n, .time = 1e4 * static_cast<double>(n)};
    };
    for (std::uint64_t n = 0; n < 200; ++n)
      EXPECT_EQ(clock.place(stamp(5000 + n), 0.01 * static_cast<double>(n)), n);
    EXPECT_EQ(clock.place(stamp(0), 3.00), std::nullopt);
    EXPECT_EQ(clock.place(stamp(1), 3.01), 301);
    EXPECT_EQ(clock.place(stamp(2), 3.02), 302);
  }
}

TEST(DeviceClock, MeasuresTheDriftBetweenTheClocks) {
  const bench::LinesDevice described = counted_lines();
  DeviceClock clock(described, rate_hz);
  std::mt19937 random(6);
  constexpr double slow = 1e-3;  // the device's second lasts 1.001 s
  for (std::int64_t n = 0; n < 60'000; ++n) {
    const double delay_s = 0.001 + 0.02 * static_cast<double>(random() % 1000) / 1000.0;
    ASSERT_EQ(clock.place({.counter = static_cast<std::uint64_t>(n)},
                          static_cast<double>(n) / rate_hz * (1.0 + slow) + delay_s),
              n);
  }
  EXPECT_NEAR(clock.drift_s(), 600.0 * slow, 0.02);
  EXPECT_NEAR(clock.host_s(59'999), 599.99 * (1.0 + slow), 0.02);
  EXPECT_FALSE(clock.wrong_rate_hz());
}

TEST(DeviceClock, TellsAWrongRateAndNotAHiccup) {
  for (const double true_rate_hz : {50.0, 97.0, 103.0, 200.0}) {
    const bench::LinesDevice described = counted_lines();
    DeviceClock clock(described, rate_hz);
    std::uint64_t n = 0;
    for (; !clock.wrong_rate_hz() && n < 10'000; ++n)
      EXPECT_TRUE(clock.place({.counter = n}, static_cast<double>(n) / true_rate_hz));
    ASSERT_TRUE(clock.wrong_rate_hz()) << true_rate_hz;
    EXPECT_NEAR(*clock.wrong_rate_hz(), true_rate_hz, 0.01 * true_rate_hz);
    EXPECT_LT(static_cast<double>(n) / true_rate_hz, 45.0);
  }
  const bench::LinesDevice described = counted_lines();
  DeviceClock clock(described, rate_hz);
  for (std::uint64_t n = 0; n < 5000; ++n)
    clock.place({.counter = n}, static_cast<double>(n) / rate_hz + (n > 2000 ? 1.5 : 0.0));
  EXPECT_FALSE(clock.wrong_rate_hz());
  EXPECT_NEAR(clock.drift_s(), 1.5, 1e-6);
  // A busy computer reads later and later for twenty seconds, and catches up for as long.
  DeviceClock busy(described, rate_hz);
  for (std::uint64_t n = 0; n < 8000; ++n) {
    const double taken_s = static_cast<double>(n) / rate_hz;
    const double late_s = 0.04 * (taken_s < 40.0 ? std::clamp(taken_s - 20.0, 0.0, 20.0)
                                                 : std::clamp(60.0 - taken_s, 0.0, 20.0));
    busy.place({.counter = n}, taken_s + late_s);
  }
  EXPECT_FALSE(busy.wrong_rate_hz());
}

}  // namespace
}  // namespace windwright::devices
