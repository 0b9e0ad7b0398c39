// SPDX-License-Identifier: Apache-2.0
#include "acquisition/pipeline.h"

#include "acquisition/capture.h"
#include "acquisition/live_values.h"
#include "acquisition/recording_thread.h"
#include "acquisition/ring.h"
#include "acquisition/trigger.h"
#include "base/errors.h"
#include "counting_device.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <csignal>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <future>
#include <limits>
#include <optional>
#include <semaphore>
#include <stop_token>
#include <string>
#include <utility>
#include <vector>

namespace windwright::acquisition {
namespace {

recording::Recorder recorder_for(const std::filesystem::path& file, const bench::Bench& bench) {
  return recording::Recorder::create(file, bench, {.device = "counting", .start = {}});
}

void expect_every_sample(const recording::Recording& recording, std::int64_t samples) {
  ASSERT_EQ(recording.samples(), samples);
  for (std::size_t c = 0; c < recording.channels().size(); ++c) {
    const auto counts = recording.counts(recording.channels()[c], 0, samples);
    for (std::int64_t i = 0; i < samples; ++i)
      ASSERT_EQ(counts[static_cast<std::size_t>(i)], CountingDevice::count_at(c, i))
          << c << ' ' << i;
  }
}

TEST(Pipeline, RecordsEverySampleInOrder) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(4, 50'000.0);
  CountingDevice device(bench);
  std::int64_t seen = 0;
  {
    auto recorder = recorder_for(file, bench);
    const Outcome outcome = record({.device = device,
                                    .recorder = recorder,
                                    .look =
                                        [&](const bench::SampleBlock& block) {
                                          EXPECT_EQ(block.first_sample, seen);
                                          seen += static_cast<std::int64_t>(block.samples);
                                        }},
                                   {.samples = 510'000, .queue = {.blocks = 4}}, {});
    EXPECT_EQ(outcome.ending, Ending::complete);
    EXPECT_EQ(outcome.samples, 510'000);
    EXPECT_LE(outcome.most_waiting, 4U);
    // Flushed, too: a copy made now is what a killed program would leave.
    const auto as_left = file.parent_path() / "as_left.h5";
    std::filesystem::copy_file(file, as_left);
    EXPECT_EQ(recording::Recording(as_left).samples(), 510'000);
  }
  EXPECT_EQ(seen, 510'000);
  EXPECT_FALSE(device.stopped);
  expect_every_sample(recording::Recording(file), 510'000);
}

TEST(Pipeline, KeepsWhatCameBeforeAFault) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  device.fault_at = 30'000;
  {
    auto recorder = recorder_for(file, bench);
    EXPECT_THROW(record({.device = device, .recorder = recorder}, {.samples = 100'000}, {}),
                 base::DeviceFault);
  }
  EXPECT_TRUE(device.stopped);
  expect_every_sample(recording::Recording(file), 30'000);
}

TEST(Pipeline, RecordsTheBlockThatTripped) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(file, bench);
  const Outcome outcome =
      record({.device = device,
              .recorder = recorder,
              .watch = [](const bench::SampleBlock& block) -> std::optional<std::string> {
                if (block.first_sample >= 20'000) return "too fast";
                return std::nullopt;
              }},
             {.samples = 100'000}, {});
  EXPECT_EQ(outcome.ending, Ending::tripped);
  EXPECT_EQ(outcome.cause, "too fast");
  EXPECT_EQ(outcome.samples, 21'000);
  EXPECT_TRUE(device.stopped);
  recorder.finish();
  EXPECT_EQ(recorder.samples(), 21'000);
}

TEST(Pipeline, EndsRatherThanLoseASample) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(file, bench);
  // A disk that hangs at the third block until the device's thread has given up.
  std::promise<void> gave_up;
  auto waited = gave_up.get_future();
  int blocks = 0;
  // And until its cause is told: whoever waits for the last blocks knows by then.
  std::string told;
  const Outcome outcome =
      record({.device = device,
              .recorder = recorder,
              .tell =
                  [&](const std::string& cause) {
                    EXPECT_TRUE(device.stopped);
                    told = cause;
                    gave_up.set_value();
                  },
              .look =
                  [&](const bench::SampleBlock&) {
                    if (++blocks == 3) waited.wait();
                  }},
             {.samples = 1'000'000, .queue = {.blocks = 8, .longest_wait_s = 0.01}}, {});
  EXPECT_EQ(outcome.ending, Ending::disk_too_slow);
  EXPECT_EQ(told, outcome.cause);
  EXPECT_NE(outcome.cause.find("the disk is too slow: 8 blocks waited"), std::string::npos)
      << outcome.cause;
  recorder.finish();
  EXPECT_EQ(recorder.samples(), outcome.samples);
  expect_every_sample(recording::Recording(file), outcome.samples);
}

int threads_named(const std::string& name) {
  int found = 0;
  for (const auto& task : std::filesystem::directory_iterator("/proc/self/task")) {
    std::ifstream file(task.path() / "comm");
    std::string read;
    if (std::getline(file, read) && read == name) ++found;
  }
  return found;
}

// Its thread may hang in a dead disk for long: the failure is told first, so that the bench stops.
TEST(RecordingThread, TellsAFailureWithoutWaitingForItsThread) {
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(fresh_folder() / "recording.h5", bench);
  RecordingThread recording(
      recorder, bench.sample_rate_hz, {.blocks = 4},
      [](const bench::SampleBlock&) { throw base::DiskFault("recording.h5", "gone", "the disk"); });
  bench::SampleBlock& block = recording.free_block();
  device.read(block);
  recording.hand_over(block);
  EXPECT_THROW(recording.flush(), base::DiskFault);
  EXPECT_THROW(recording.free_block(), base::DiskFault);
  EXPECT_THROW(recording.is_flushed(), base::DiskFault);
  EXPECT_EQ(threads_named("recording"), 1) << "and still there";
  EXPECT_THROW(recording.finish(), base::DiskFault);
  EXPECT_EQ(threads_named("recording"), 0);
}

// No patience where nobody would judge meanwhile: with the one above this lasts an hour.
TEST(RecordingThread, ADeviceInTheWorldIsNotKeptWaitingForTheDisk) {
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(fresh_folder() / "recording.h5", bench);
  std::binary_semaphore disk{0};
  bool hung = false;
  RecordingThread recording(recorder, bench.sample_rate_hz, {.blocks = 4, .longest_wait_s = 3600.0},
                            [&](const bench::SampleBlock&) {
                              if (!std::exchange(hung, true)) disk.acquire();
                            });
  std::string told;
  for (int i = 0; i < 5; ++i) {
    try {
      bench::SampleBlock& block = recording.free_block();
      device.read(block);
      block.received = base::host_now();
      recording.hand_over(block);
      EXPECT_LT(i, 4);
    } catch (const base::DiskFault& fault) {
      EXPECT_EQ(i, 4);
      told = fault.what();
    }
  }
  EXPECT_NE(told.find("the disk is too slow: 4 blocks waited"), std::string::npos) << told;
  disk.release();
}

TEST(Pipeline, EndsInOrderWhenTheDiskIsFull) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  rlimit before{};
  getrlimit(RLIMIT_FSIZE, &before);
  const rlimit small{.rlim_cur = 900'000, .rlim_max = before.rlim_max};
  Outcome outcome{};
  {
    auto recorder = recorder_for(file, bench);
    const auto signal_before = ::signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &small);
    outcome = record({.device = device, .recorder = recorder}, {.samples = 1'000'000}, {});
    setrlimit(RLIMIT_FSIZE, &before);
    ::signal(SIGXFSZ, signal_before);
  }
  EXPECT_EQ(outcome.ending, Ending::disk_failed);
  EXPECT_TRUE(device.stopped);
  EXPECT_NE(outcome.cause.find("recording.h5: has no room to go on "), std::string::npos)
      << outcome.cause;
  EXPECT_NE(outcome.cause.find("(File too large): make room, or use another disk; the "),
            std::string::npos)
      << outcome.cause;
  EXPECT_GE(outcome.samples, 20'000);
  const recording::Recording recording(file);
  EXPECT_GE(recording.samples(), outcome.samples);
  expect_every_sample(recording, recording.samples());
}

TEST(RecordingThread, FlushWaitsUntilEverythingSurvives) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(file, bench);
  RecordingThread recording(recorder, bench.sample_rate_hz, {.blocks = 4, .flush_s = 1e9});
  for (int i = 1; i <= 20; ++i) {
    bench::SampleBlock& block = recording.free_block();
    device.read(block);
    const auto samples = static_cast<std::int64_t>(block.samples);
    recording.hand_over(block);
    recording.flush();
    EXPECT_EQ(recorder.flushed(), i * samples);
  }
  recording.finish();
  EXPECT_FALSE(recording.failed());
}

TEST(RecordingThread, GoesOnWhileItFlushes) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(2, 10'000.0);
  CountingDevice device(bench);
  auto recorder = recorder_for(file, bench);
  std::promise<void> disk_is_free;
  auto waited = disk_is_free.get_future();
  RecordingThread recording(recorder, bench.sample_rate_hz, {.blocks = 8, .flush_s = 1e9},
                            [&](const bench::SampleBlock& block) {
                              if (block.first_sample == 0) waited.wait();
                            });
  const auto read_one = [&] {
    bench::SampleBlock& block = recording.free_block();
    device.read(block);
    recording.hand_over(block);
  };
  read_one();
  for (int i = 0; i < 3; ++i) {
    recording.ask_to_flush();
    EXPECT_FALSE(recording.is_flushed());
    read_one();
  }
  disk_is_free.set_value();
  recording.flush();
  EXPECT_TRUE(recording.is_flushed());
  EXPECT_EQ(recorder.flushed(), 4'000);
}

TEST(RecordingThread, HoldsFiveSecondsOfTheShortestBlocks) {
  EXPECT_EQ(queue_for(0.001).blocks, 5'000U);
  EXPECT_EQ(queue_for(0.1).blocks, 64U);
}

TEST(RecordingThread, TellsTheDisksFaultWhereverItIsMet) {
  const bench::Bench bench = bench_of(2, 10'000.0);
  rlimit before{};
  getrlimit(RLIMIT_FSIZE, &before);
  const rlimit small{.rlim_cur = 900'000, .rlim_max = before.rlim_max};
  const auto signal_before = ::signal(SIGXFSZ, SIG_IGN);
  const auto folder = fresh_folder();
  for (const bool flushes : {true, false}) {
    CountingDevice device(bench);
    auto recorder = recorder_for(folder / (flushes ? "flushed.h5" : "not.h5"), bench);
    RecordingThread recording(recorder, bench.sample_rate_hz, {.blocks = 4});
    setrlimit(RLIMIT_FSIZE, &small);
    const auto go_on = [&] {
      for (int i = 0; i < 1'000; ++i) {
        bench::SampleBlock& block = recording.free_block();
        device.read(block);
        recording.hand_over(block);
        if (flushes) recording.flush();
      }
    };
    EXPECT_THROW(go_on(), base::DiskFault);
    setrlimit(RLIMIT_FSIZE, &before);
    EXPECT_TRUE(recording.failed());
    EXPECT_THROW(recording.flush(), base::DiskFault);
  }
  ::signal(SIGXFSZ, signal_before);
}

TEST(Pipeline, StopsWhenAskedAndKeepsGaps) {
  const auto file = fresh_folder() / "recording.h5";
  const bench::Bench bench = bench_of(1, 10'000.0);
  CountingDevice device(bench);
  device.gap_at = 15'000;
  std::stop_source source;
  auto recorder = recorder_for(file, bench);
  const Outcome outcome =
      record({.device = device,
              .recorder = recorder,
              .watch = [&](const bench::SampleBlock& block) -> std::optional<std::string> {
                if (block.first_sample >= 40'000) source.request_stop();
                return std::nullopt;
              }},
             {.samples = 1'000'000}, source.get_token());
  EXPECT_EQ(outcome.ending, Ending::interrupted);
  EXPECT_TRUE(device.stopped);
  recorder.finish();
  const recording::Recording recording(file);
  EXPECT_EQ(recording.samples(), outcome.samples);
  ASSERT_EQ(recording.gaps().size(), 1U);
  EXPECT_EQ(recording.gaps()[0].before_sample, 15'000);
  EXPECT_EQ(recording.gaps()[0].device_sample, 15'500);
}

TEST(Ring, KeepsTheLastSamplesAcrossItsEnd) {
  const auto folder = fresh_folder();
  const bench::Bench bench = bench_of(4, 10'000.0);
  CountingDevice device(bench);
  device.gap_at = 25'000;
  Ring ring(bench, "counting", 1.05);
  bench::SampleBlock block;
  for (int i = 0; i < 31; ++i) {
    device.read(block);
    ring.append(block);
  }
  EXPECT_EQ(ring.end(), 31'000);
  EXPECT_EQ(ring.first(), 31'000 - 10'500);
  const recording::Window kept = ring.save(folder / "kept.h5", {.first = 0, .count = 31'000});
  EXPECT_EQ(kept.first, 20'500);
  EXPECT_EQ(kept.count, 10'500);
  const recording::Recording recording(folder / "kept.h5");
  ASSERT_EQ(recording.samples(), 10'500);
  for (std::size_t c = 0; c < 4; ++c) {
    const auto counts = recording.counts(recording.channels()[c], 0, 10'500);
    for (std::int64_t i = 0; i < 10'500; ++i) {
      const std::int64_t taken = 20'500 + i;
      ASSERT_EQ(counts[static_cast<std::size_t>(i)],
                CountingDevice::count_at(c, taken < 25'000 ? taken : taken + 500));
    }
  }
  ASSERT_EQ(recording.gaps().size(), 1U);
  EXPECT_EQ(recording.gaps()[0].before_sample, 4'500);
  EXPECT_EQ(recording.gaps()[0].device_sample, 5'000);
  EXPECT_EQ(recording.start(),
            base::UtcTime(std::chrono::hours(24 * 20'000)) + std::chrono::microseconds(2'050'000));
}

// The times at which blocks came are those of a recording that was made all along.
TEST(Ring, KeepsWhenItsSamplesCame) {
  const auto folder = fresh_folder();
  const bench::Bench bench = bench_of(4, 10'000.0);
  CountingDevice device(bench);
  device.gap_at = 75'000;
  Ring ring(bench, "counting", 15.0);
  auto whole = recorder_for(folder / "whole.h5", bench);
  bench::SampleBlock block;
  for (int i = 0; i < 150; ++i) {
    device.read(block);
    // 0.1 s behind its first sample, and late by 1 to 7 ms.
    block.received = block.start + std::chrono::milliseconds(101 + i * 5 % 7);
    ring.append(block);
    whole.append(block);
  }
  whole.finish();
  ring.save(folder / "kept.h5", {.first = 0, .count = 150'000});
  const auto wanted = recording::Recording(folder / "whole.h5").clock();
  const auto kept = recording::Recording(folder / "kept.h5").clock();
  ASSERT_GE(wanted.size(), 4U);
  ASSERT_EQ(kept.size(), wanted.size());
  for (std::size_t i = 0; i < kept.size(); ++i) {
    EXPECT_EQ(kept[i].sample, wanted[i].sample);
    EXPECT_EQ(kept[i].device_ns, wanted[i].device_ns);
    EXPECT_EQ(kept[i].host, wanted[i].host);
  }
  const recording::Window part = ring.save(folder / "part.h5", {.first = 20'500, .count = 500});
  EXPECT_EQ(part.count, 500);
  const auto one = recording::Recording(folder / "part.h5").clock();
  ASSERT_EQ(one.size(), 1U);
  EXPECT_EQ(one[0].sample, 499);
  EXPECT_EQ(recording::Recording(folder / "part.h5").counts("dc_current_A", 499, 1).front(),
            CountingDevice::count_at(1, 20'999));
}

TEST(TriggerWatch, FindsTheSampleOfAnEdgeAcrossBlocks) {
  const auto found = [](Trigger::Condition condition, std::vector<std::vector<float>> blocks) {
    TriggerWatch watch({.channel = "c", .condition = condition, .level = 2.0});
    std::vector<int> where;
    for (const auto& block : blocks) {
      const auto at = watch.look(block);
      where.push_back(at ? static_cast<int>(*at) : -1);
    }
    return where;
  };
  using enum Trigger::Condition;
  EXPECT_EQ(found(rising, {{3, 3, 1}, {2, 2.5F, 1, 4}}), (std::vector{-1, 1}));
  EXPECT_EQ(found(falling, {{1, 3, 2}, {1.9F}}), (std::vector{-1, 0}));
  EXPECT_EQ(found(above, {{2, 1}, {1, 2.1F}}), (std::vector{-1, 1}));
  EXPECT_EQ(found(below, {{2, 1}}), (std::vector{1}));
  const float none = std::numeric_limits<float>::quiet_NaN();
  // What is no number triggers nothing and hides no edge: a speed while nothing turns yet.
  EXPECT_EQ(found(rising, {{none, 3}, {1, none}, {none, 3}}), (std::vector{-1, -1, 1}));
  EXPECT_EQ(found(below, {{none, 3, none}}), (std::vector{-1}));
}

TEST(Capture, KeepsWhatLiesAroundTheTrigger) {
  const auto folder = fresh_folder();
  const bench::Bench bench = bench_of(3, 10'000.0);
  CountingDevice device(bench);
  LiveValues live(bench, {std::nullopt, std::nullopt, std::nullopt});
  // The third channel counts 22, 25, ...: it passes 5 V (count 32768) at sample 10916.
  Capture capture(bench, "counting", live,
                  {.trigger = {.channel = "rotor_speed_rad_s",
                               .condition = Trigger::Condition::rising,
                               .level = 5.0},
                   .before_s = 0.5,
                   .after_s = 0.25});
  bench::SampleBlock block;
  for (int blocks = 0; blocks < 100; ++blocks) {
    device.read(block);
    if (capture.take(block)) break;
  }
  ASSERT_TRUE(capture.at().has_value());
  EXPECT_EQ(*capture.at(), 10'916);
  const recording::Window kept = capture.save(folder / "capture.h5");
  EXPECT_EQ(kept.first, 5'916);
  EXPECT_EQ(kept.count, 7'500);
  const recording::Recording recording(folder / "capture.h5");
  EXPECT_EQ(recording.counts("rotor_speed_rad_s", 5'000, 1)[0],
            CountingDevice::count_at(2, 10'916));
  EXPECT_THROW(Capture(bench, "counting", live,
                       {.trigger = {.channel = "torque_N_m",
                                    .condition = Trigger::Condition::above,
                                    .level = 1.0}}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::acquisition
