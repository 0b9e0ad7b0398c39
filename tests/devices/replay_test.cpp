// SPDX-License-Identifier: Apache-2.0
#include "devices/replay.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "devices/open_device.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::devices {
namespace {

bench::Bench one_channel() {
  bench::Bench bench{};
  bench.sample_rate_hz = 1000.0;
  bench.block_s = 0.1;
  bench::Channel channel{};
  channel.name = "air_speed_m_s";
  channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = 16};
  bench.channels.push_back(channel);
  return bench;
}

// 250 samples, then 70 missed, then 130.
std::filesystem::path recorded(const bench::Bench& bench) {
  const auto file = fresh_folder() / "recording.h5";
  auto recorder = recording::Recorder::create(
      file, bench, {.device = "d", .start = base::UtcTime(std::chrono::hours(500'000))});
  bench::SampleBlock block;
  block.channels = 1;
  for (const auto& [first, count] : {std::pair(0, 250), std::pair(320, 130)}) {
    block.first_sample = first;
    block.gap_before = first > 0;
    block.samples = static_cast<std::size_t>(count);
    block.counts.clear();
    for (int i = 0; i < count; ++i)
      block.counts.push_back(first + i);
    recorder.append(block);
  }
  return file;
}

TEST(Replay, GivesWhatWasRecordedWithItsGap) {
  bench::Bench bench = one_channel();
  bench.device = bench::ReplayDevice{.recording = recorded(bench)};
  const auto device = open_device(bench, twin::Pace::as_fast_as_possible, {});
  bench::SampleBlock block;
  std::vector<std::size_t> lengths;
  for (int i = 0; i < 5; ++i) {
    device->read(block);
    lengths.push_back(block.samples);
    EXPECT_EQ(block.gap_before, i == 3);
    for (std::size_t k = 0; k < block.samples; ++k)
      ASSERT_EQ(block.counts[k], block.first_sample + static_cast<std::int64_t>(k));
  }
  EXPECT_EQ(lengths, (std::vector<std::size_t>{100, 100, 50, 100, 30}));
  EXPECT_EQ(device->now(),
            base::UtcTime(std::chrono::hours(500'000)) + std::chrono::milliseconds(450));
  EXPECT_THROW(device->read(block), base::DeviceFault);
  EXPECT_THROW(device->set("fan_pct", 10.0), base::DeviceFault);
}

TEST(Replay, BeginsAgainBehindAGap) {
  bench::Bench bench = one_channel();
  bench.device = bench::ReplayDevice{.recording = recorded(bench), .repeat = true};
  const auto device = open_device(bench, twin::Pace::as_fast_as_possible, {});
  bench::SampleBlock block;
  std::int64_t next = 0;
  for (int i = 0; i < 25; ++i) {
    device->read(block);
    EXPECT_EQ(block.gap_before, block.first_sample != next) << i;
    EXPECT_GE(block.first_sample, next);
    next = block.first_sample + static_cast<std::int64_t>(block.samples);
    if (i % 5 == 0) {
      EXPECT_EQ(block.counts[0], 0);
    }
  }
}

// A slow channel's samples are means: the recording of a replay has the same, and no means of what
// was shown held.
TEST(Replay, RecordedAgainKeepsTheSamplesOfASlowChannel) {
  const auto folder = fresh_folder();
  bench::Bench bench = one_channel();
  bench.channels[0].every = 40;
  const recording::Source source{.device = "d", .start = base::UtcTime(std::chrono::hours(1))};
  bench::SampleBlock block;
  block.channels = 1;
  {
    auto recorder = recording::Recorder::create(folder / "first.h5", bench, source);
    for (const auto& [first, count] : {std::pair(0, 250), std::pair(320, 530)}) {
      block.first_sample = first;
      block.gap_before = first > 0;
      block.samples = static_cast<std::size_t>(count);
      block.counts.clear();
      for (int i = first; i < first + count; ++i)
        block.counts.push_back(i * i % 5'003);
      recorder.append(block);
    }
  }
  bench.device = bench::ReplayDevice{.recording = folder / "first.h5"};
  const auto device = open_device(bench, twin::Pace::as_fast_as_possible, {});
  {
    auto recorder = recording::Recorder::create(folder / "again.h5", bench, source);
    while (recorder.samples() < 780) {
      device->read(block);
      recorder.append(block);
    }
  }
  const recording::Recording first(folder / "first.h5");
  const recording::Recording again(folder / "again.h5");
  ASSERT_EQ(first.gaps().size(), 1U);
  EXPECT_EQ(again.counts("air_speed_m_s", 0, 780), first.counts("air_speed_m_s", 0, 780));
}

TEST(Replay, RefusesARecordingOfAnotherBench) {
  bench::Bench bench = one_channel();
  const auto file = recorded(bench);
  const auto refused = [&](const std::string& words) {
    bench.device = bench::ReplayDevice{.recording = file};
    try {
      open_device(bench, twin::Pace::as_fast_as_possible, {});
      ADD_FAILURE() << "not refused: " << words;
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find(words), std::string::npos) << error.what();
    }
  };
  bench.channels[0].converter.bits = 12;
  refused("has air_speed_m_s from another converter: 0 to 10 V, 16 bits: 0 to 10 V, 12 bits");
  bench.channels[0].converter.bits = 16;
  bench.sample_rate_hz = 500.0;
  refused("was recorded at 1000 samples a second");
  bench.sample_rate_hz = 1000.0;
  bench.channels[0].name = "dc_voltage_V";
  refused("has as channel 1 air_speed_m_s");
}

}  // namespace
}  // namespace windwright::devices
