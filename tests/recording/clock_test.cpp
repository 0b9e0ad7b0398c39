// SPDX-License-Identifier: Apache-2.0
// Two clocks in a recording: the device's and the computer's.
#include "base/clock.h"

#include "bench/bench.h"
#include "bench/device.h"
#include "counted_samples.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <hdf5.h>

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

namespace windwright::recording {
namespace {

using std::chrono::nanoseconds;

constexpr std::int64_t block_ns = 100'000'000;  // of 100 samples

// Each block comes some time after its last sample was taken.
bench::SampleBlock block_on_its_way(std::int64_t first, nanoseconds way) {
  bench::SampleBlock block = block_from(first, 100);
  block.received = start + nanoseconds((first + 99) * 1'000'000) + way;
  return block;
}

struct Ways {
  std::vector<nanoseconds> of_block;
};

Ways made_up(std::size_t blocks) {
  Ways ways;
  std::mt19937 random(11);
  for (std::size_t i = 0; i < blocks; ++i)
    ways.of_block.emplace_back(200'000 + random() % 30'000'000U);
  return ways;
}

TEST(Clock, KeepsTheQuickestOfEveryFewSeconds) {
  const auto file = fresh_folder() / "recording.h5";
  const Ways ways = made_up(300);
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    for (std::int64_t i = 0; i < 300; ++i)
      recorder.append(block_on_its_way(100 * i, ways.of_block[static_cast<std::size_t>(i)]));
  }
  const Recording recording(file);
  ASSERT_EQ(recording.clock().size(), 8U);  // 30 s, of every 4 one
  for (std::int64_t k = 0; k < 8; ++k) {
    const ClockPair& pair = recording.clock()[static_cast<std::size_t>(k)];
    std::int64_t quickest = 40 * k;
    for (std::int64_t i = 40 * k; i < std::min<std::int64_t>(300, 40 * (k + 1)); ++i) {
      if (ways.of_block[static_cast<std::size_t>(i)] <
          ways.of_block[static_cast<std::size_t>(quickest)])
        quickest = i;
    }
    EXPECT_EQ(pair.sample, 100 * quickest + 99);
    EXPECT_EQ(pair.device_ns, quickest * block_ns + 99'000'000);
    EXPECT_EQ(pair.host, start + nanoseconds(pair.device_ns) +
                             ways.of_block[static_cast<std::size_t>(quickest)]);
  }
}

TEST(Clock, HasAPairOnEitherSideOfEveryGap) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    for (const std::int64_t first : {0, 100, 1'000, 5'000, 5'100}) {
      bench::SampleBlock block = block_on_its_way(first, nanoseconds(1'000'000));
      block.gap_before = first == 1'000 || first == 5'000;
      recorder.append(block);
    }
  }
  const Recording recording(file);
  std::vector<std::int64_t> samples;
  std::vector<std::int64_t> device_ms;
  for (const ClockPair& pair : recording.clock()) {
    samples.push_back(pair.sample);
    device_ms.push_back(pair.device_ns / 1'000'000);
  }
  EXPECT_EQ(samples, (std::vector<std::int64_t>{99, 299, 399}));
  EXPECT_EQ(device_ms, (std::vector<std::int64_t>{99, 1'099, 5'099}));
}

TEST(Clock, IsNotThereWhereTimeIsNotTheWorlds) {
  const auto file = fresh_folder() / "recording.h5";
  Recorder::create(file, three_channels(), source).append(block_from(0, 10'000));
  EXPECT_TRUE(Recording(file).clock().empty());
}

TEST(Clock, IsTakenUpAsFarAsTheSamplesAre) {
  const auto file = fresh_folder() / "recording.h5";
  const Ways ways = made_up(300);
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    for (std::int64_t i = 0; i < 300; ++i)
      recorder.append(block_on_its_way(100 * i, ways.of_block[static_cast<std::size_t>(i)]));
  }
  const std::vector<ClockPair> before = Recording(file).clock();
  Recorder::take_up(file, before[3].sample);
  const std::vector<ClockPair> after = Recording(file).clock();
  ASSERT_EQ(after.size(), 3U);
  EXPECT_EQ(after[2].host, before[2].host);
}

// h5py and others see the start as an attribute of each stream too.
TEST(Clock, BeginsWithTheFirstSample) {
  const auto path = fresh_folder() / "recording.h5";
  const base::UtcTime known = start + std::chrono::milliseconds(1'234);
  {
    Recorder recorder = Recorder::create(path, three_channels(), source);
    recorder.begin_at(known);
    recorder.append(block_from(0, 100));
    EXPECT_THROW(recorder.begin_at(start), std::logic_error);
  }
  EXPECT_EQ(Recording(path).start(), known);
  const hid_t file = H5Fopen(path.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT);
  for (const char* name : {"/streams/test-device", "/streams/test-device/dc_voltage_V"}) {
    const hid_t attribute = H5Aopen_by_name(file, name, "start_utc", H5P_DEFAULT, H5P_DEFAULT);
    const hid_t type = H5Aget_type(attribute);
    std::string text(H5Tget_size(type), '\0');
    EXPECT_GE(H5Aread(attribute, type, text.data()), 0);
    EXPECT_STREQ(text.c_str(), base::utc_text(known).c_str()) << name;
    H5Tclose(type);
    H5Aclose(attribute);
  }
  H5Fclose(file);
}

// Between a gap and its next sample a slow channel is not known: what came before is not held.
TEST(SlowChannel, IsNotHeldAcrossAGap) {
  const auto file = fresh_folder() / "recording.h5";
  bench::Bench bench = three_channels();
  bench.channels[1].every = 250;
  {
    Recorder recorder = Recorder::create(file, bench, source);
    recorder.append(block_from(0, 400));
    bench::SampleBlock later = block_from(5'000, 600);
    later.gap_before = true;
    recorder.append(later);
  }
  const Recording recording(file);
  const std::string slow = "rotor_speed_rad_s";
  EXPECT_EQ(recording.known_from(slow, 399), 399);
  EXPECT_EQ(recording.known_from(slow, 400), 500);
  EXPECT_EQ(recording.known_from(slow, 499), 500);
  EXPECT_EQ(recording.known_from(slow, 500), 500);
  EXPECT_EQ(recording.known_from("dc_voltage_V", 400), 400);
  const auto bins = recording.bins(slow, {.first = 0, .count = 1'000}, 100);
  ASSERT_EQ(bins.size(), 4U);
  EXPECT_EQ(bins[1].first, 250);
  EXPECT_EQ(bins[1].samples, 150);  // to the gap
  EXPECT_EQ(bins[2].first, 500);
  EXPECT_EQ(bins[2].samples, 250);
  const auto inside = recording.bins(slow, {.first = 410, .count = 200}, 10);
  ASSERT_EQ(inside.size(), 1U);
  EXPECT_EQ(inside[0].first, 500);
  EXPECT_EQ(inside[0].samples, 110);
  EXPECT_TRUE(recording.bins(slow, {.first = 410, .count = 90}, 10).empty());
}

// Counts of 31 bits, which single precision would round by up to 64.
TEST(Pyramid, IsExactForCountsOfAnyWidth) {
  const auto file = fresh_folder() / "recording.h5";
  bench::SampleBlock block;
  block.channels = 1;
  block.samples = 300'000;
  std::mt19937 random(5);
  for (std::size_t i = 0; i < block.samples; ++i)
    block.counts.push_back(static_cast<std::int32_t>(random() >> 1U));
  {
    Recorder recorder =
        Recorder::create(file, 1000.0,
                         {{.name = "x",
                           .note = {.unit = "1",
                                    .long_name = "x",
                                    .certificate = {},
                                    .converter = {.lower_V = 0.0, .upper_V = 1.0, .bits = 31}}}},
                         source);
    recorder.append(block);
  }
  const Recording recording(file);
  for (const std::int64_t bins : {1, 10, 1'000}) {
    for (const Bin& bin : recording.bins("x", {.first = 0, .count = 300'000}, bins)) {
      const auto from = block.counts.begin() + bin.first;
      const auto [lowest, highest] = std::minmax_element(from, from + bin.samples);
      ASSERT_EQ(bin.lowest, *lowest);
      ASSERT_EQ(bin.highest, *highest);
    }
  }
}

}  // namespace
}  // namespace windwright::recording
