// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "counted_samples.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>
#include <hdf5.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::recording {
namespace {

using base::BadInput;

TEST(Recording, GivesBackWhatWasRecorded) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    for (std::int64_t first = 0; first < 50'000; first += 100)
      recorder.append(block_from(first, 100));
    EXPECT_EQ(recorder.samples(), 50'000);
  }
  expect_every_sample(file, 50'000);
  const Recording recording(file);
  EXPECT_EQ(recording.device(), "test-device");
  EXPECT_EQ(recording.start(), start);
  EXPECT_EQ(recording.sample_rate_hz(), 1000.0);
  EXPECT_EQ(recording.channels(),
            (std::vector<std::string>{"air_speed_m_s", "rotor_speed_rad_s", "dc_voltage_V"}));
  EXPECT_EQ(recording.counts("dc_voltage_V", 49'990, 10).back(), count_at(2, 49'999));
}

// A row of the pyramid a whole stretch of 256 samples, however often the end is told.
TEST(Recording, IsFinishedOnce) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    recorder.append(block_from(0, 7'000));
    recorder.finish();
    recorder.finish();
    EXPECT_THROW(recorder.append(block_from(7'000, 1)), std::logic_error);
  }
  expect_every_sample(file, 7'000);
  const hid_t id = H5Fopen(file.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT);
  for (const char* channel : {"air_speed_m_s", "dc_voltage_V"}) {
    for (const auto& [level, wanted] : {std::pair{"256", 7'000 / 256}, {"4096", 7'000 / 4096}}) {
      const std::string name = std::string("/pyramid/test-device/") + channel + "/" + level;
      const hid_t data = H5Dopen2(id, name.c_str(), H5P_DEFAULT);
      const hid_t space = H5Dget_space(data);
      std::array<hsize_t, 2> extent{};
      EXPECT_EQ(H5Sget_simple_extent_dims(space, extent.data(), nullptr), 2);
      EXPECT_EQ(extent[0], static_cast<hsize_t>(wanted)) << name;
      H5Sclose(space);
      H5Dclose(data);
    }
  }
  H5Fclose(id);
}

TEST(Recording, IsReadByAnotherProgram) {
  const auto file = fresh_folder() / "recording.h5";
  Recorder::create(file, three_channels(), source).append(block_from(0, 20));
  const std::string command =
      "h5dump -d /streams/test-device/rotor_speed_rad_s '" + file.string() + "'";
  FILE* pipe = popen(command.c_str(), "r");
  ASSERT_NE(pipe, nullptr);
  std::string dump;
  std::array<char, 4096> piece{};
  while (const std::size_t n = fread(piece.data(), 1, piece.size(), pipe))
    dump.append(piece.data(), n);
  ASSERT_EQ(pclose(pipe), 0) << dump;
  for (const char* expected :
       {"H5T_STD_U16LE", "( 20 ) / ( H5S_UNLIMITED )", "(0): 1000, 1007, 1014", "\"units\"",
        "\"rad s-1\"", "\"long_name\"", "\"sample_rate_hz\"", "\"start_utc\"", "\"certificate\"",
        "volts = lower_V + (counts + 0.5) * (upper_V - lower_V) / 2^bits"}) {
    EXPECT_NE(dump.find(expected), std::string::npos) << expected << " is not in\n" << dump;
  }
}

TEST(Recording, TakesADeviceOfAnyName) {
  const auto file = fresh_folder() / "recording.h5";
  Recorder::create(file, three_channels(), {.device = "Room 2/bench A", .start = start})
      .append(block_from(0, 20));
  EXPECT_EQ(Recording(file).device(), "Room 2-bench A");
  EXPECT_EQ(Recording(file).samples(), 20);
}

TEST(Recording, NotesAGapAsAGap) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    recorder.append(block_from(0, 100));
    bench::SampleBlock late = block_from(700, 100);
    late.gap_before = true;
    recorder.append(late);
  }
  const Recording recording(file);
  EXPECT_EQ(recording.samples(), 200);
  ASSERT_EQ(recording.gaps().size(), 1U);
  EXPECT_EQ(recording.gaps()[0].before_sample, 100);
  EXPECT_EQ(recording.gaps()[0].device_sample, 700);
}

TEST(Recording, CountsGapsFromItsOwnFirstSample) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    bench::SampleBlock block = block_from(20'500, 100);
    block.gap_before = true;  // before the first sample nothing can be missing
    recorder.append(block);
    recorder.append(block_from(20'600, 100));
    recorder.append(block_from(21'200, 100));  // no word of it, but the count tells
  }
  const Recording recording(file);
  ASSERT_EQ(recording.gaps().size(), 1U);
  EXPECT_EQ(recording.gaps()[0].before_sample, 200);
  EXPECT_EQ(recording.gaps()[0].device_sample, 700);
}

// A real bench counts from nought when it is opened again: how long it was closed tells its clock.
TEST(Recording, GoesOnByTheClockWhereTheDevicesCountBeginsAnew) {
  for (const bool told : {true, false}) {
    const auto file = fresh_folder() / (told ? "told.h5" : "untold.h5");
    {
      Recorder recorder = Recorder::create(file, three_channels(), source);
      recorder.append(block_from(300, 1'000));
    }
    {
      Recorder recorder = Recorder::take_up(file, 900);
      bench::SampleBlock block = block_from(0, 100);
      block.gap_before = told;
      block.start = start + std::chrono::seconds(60);
      recorder.append(block);
      recorder.append(block_from(100, 100));
    }
    const Recording recording(file);
    EXPECT_EQ(recording.samples(), 1'100);
    ASSERT_EQ(recording.gaps().size(), 1U);
    EXPECT_EQ(recording.gaps()[0].before_sample, 900);
    EXPECT_EQ(recording.gaps()[0].device_sample, 60'000);
  }
}

TEST(Recording, GoesOnWithoutAGapWhereNothingIsMissing) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    recorder.append(block_from(300, 1'000));
  }
  {
    Recorder recorder = Recorder::take_up(file, 900);
    bench::SampleBlock block = block_from(1'200, 100);
    block.start = start + std::chrono::milliseconds(900);
    recorder.append(block);
  }
  EXPECT_TRUE(Recording(file).gaps().empty());
}

TEST(Recording, RefusesWhatItDoesNotHold) {
  const auto file = fresh_folder() / "recording.h5";
  Recorder::create(file, three_channels(), source).append(block_from(0, 20));
  const Recording recording(file);
  EXPECT_THROW(recording.counts("torque_N_m", 0, 1), BadInput);
  EXPECT_THROW(recording.counts("dc_voltage_V", 15, 6), BadInput);
  EXPECT_THROW(recording.counts("dc_voltage_V", -1, 2), BadInput);
  EXPECT_THROW(Recorder::create(file, three_channels(), source), BadInput);
}

TEST(Recording, RefusesAFileThatIsNoRecording) {
  const auto file = fresh_folder() / "recording.h5";
  base::write_whole(file, "not HDF5\n");
  try {
    const Recording recording(file);
    FAIL();
  } catch (const BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("recording.h5:1: cannot be opened as a recording"),
              std::string::npos)
        << error.what();
  }
}

// Channel 1 is kept once in 250 samples: the mean of those since, the first alone.
bench::Bench with_a_slow_channel() {
  bench::Bench bench = three_channels();
  bench.channels[1].every = 250;
  return bench;
}

std::int32_t slow_count(std::int64_t sample, std::int64_t begun = 0) {
  const std::int64_t kept = sample / 250 * 250;
  const std::int64_t first = kept == 0 ? 0 : std::max(begun, kept - 249);
  double sum = 0.0;
  for (std::int64_t i = first; i <= kept; ++i)
    sum += count_at(1, i);
  return static_cast<std::int32_t>(std::floor(sum / static_cast<double>(kept - first + 1) + 0.5));
}

TEST(Recording, KeepsASlowChannelAtItsOwnRate) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, with_a_slow_channel(), source);
    for (std::int64_t first = 0; first < 10'027; first += 37)
      recorder.append(block_from(first, 37));
  }
  const Recording recording(file);
  ASSERT_EQ(recording.samples(), 10'027);
  EXPECT_EQ(recording.note("rotor_speed_rad_s").every, 250);
  EXPECT_EQ(recording.note("dc_voltage_V").every, 1);
  const auto counts = recording.counts("rotor_speed_rad_s", 0, 10'027);
  for (std::int64_t i = 0; i < 10'027; ++i)
    ASSERT_EQ(counts[static_cast<std::size_t>(i)], slow_count(i)) << i;
  EXPECT_EQ(recording.counts("rotor_speed_rad_s", 499, 2),
            (std::vector<std::int32_t>{slow_count(499), slow_count(500)}));
  EXPECT_EQ(recording.counts("dc_voltage_V", 10'026, 1).front(), count_at(2, 10'026));
}

TEST(Recording, ShowsASlowChannelInTheWindowOfTheOthers) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, with_a_slow_channel(), source);
    recorder.append(block_from(0, 400'000));
  }
  const Recording recording(file);
  for (const std::int64_t bins : {1, 7, 100}) {
    const Window window{.first = 1'111, .count = 387'654};
    const auto all = recording.bins("rotor_speed_rad_s", window, bins);
    ASSERT_EQ(std::ssize(all), bins);
    std::int64_t at = window.first;
    for (const Bin& bin : all) {
      EXPECT_EQ(bin.first, at);
      at += bin.samples;
    }
    EXPECT_EQ(at, window.first + window.count);
    double lowest = 1e9;
    double sum = 0.0;
    int kept = 0;
    for (std::int64_t i = window.first / 250; i * 250 < window.first + window.count; ++i, ++kept) {
      lowest = std::min(lowest, static_cast<double>(slow_count(i * 250)));
      sum += slow_count(i * 250);
    }
    if (bins != 1) continue;
    EXPECT_EQ(all.front().lowest, lowest);
    EXPECT_NEAR(all.front().mean, sum / kept, 1e-3);
  }
  // A window inside one of its samples.
  const auto inside = recording.bins("rotor_speed_rad_s", {.first = 510, .count = 100}, 20);
  ASSERT_EQ(inside.size(), 1U);
  EXPECT_EQ(inside[0].first, 510);
  EXPECT_EQ(inside[0].samples, 100);
  EXPECT_EQ(inside[0].mean, slow_count(510));
}

TEST(Recording, TakesUpASlowChannelWhereItWas) {
  const auto file = fresh_folder() / "recording.h5";
  Recorder::create(file, with_a_slow_channel(), source).append(block_from(0, 1'333));
  {
    Recorder recorder = Recorder::take_up(file, 1'130);
    recorder.append(block_from(1'130, 600));
  }
  const Recording recording(file);
  ASSERT_EQ(recording.samples(), 1'730);
  const auto counts = recording.counts("rotor_speed_rad_s", 0, 1'730);
  for (std::int64_t i = 0; i < 1'730; ++i)
    ASSERT_EQ(counts[static_cast<std::size_t>(i)],
              slow_count(i, i >= 1'250 && i < 1'500 ? 1'130 : 0))
        << i;
}

// The mean is of all its samples, whichever session read them.
TEST(Recording, TakenUpWithItsSumsASlowChannelIsThatOfOneSession) {
  const auto file = fresh_folder() / "recording.h5";
  std::vector<SlowSum> sums;
  {
    Recorder recorder = Recorder::create(file, with_a_slow_channel(), source);
    recorder.append(block_from(0, 1'130));
    sums = recorder.slow_sums();
    recorder.append(block_from(1'130, 203));
  }
  {
    Recorder recorder = Recorder::take_up(file, 1'130, sums);
    recorder.append(block_from(1'130, 600));
  }
  const auto counts = Recording(file).counts("rotor_speed_rad_s", 0, 1'730);
  for (std::int64_t i = 0; i < 1'730; ++i)
    ASSERT_EQ(counts[static_cast<std::size_t>(i)], slow_count(i)) << i;
}

TEST(Recording, ASlowChannelsMeanDoesNotReachOverAGap) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, with_a_slow_channel(), source);
    recorder.append(block_from(0, 400));
    bench::SampleBlock later = block_from(5'000, 300);
    later.gap_before = true;
    recorder.append(later);
  }
  const Recording recording(file);
  double sum = 0.0;
  for (std::int64_t i = 5'000; i <= 5'100; ++i)
    sum += count_at(1, i);
  EXPECT_EQ(recording.counts("rotor_speed_rad_s", 500, 1).front(),
            static_cast<std::int32_t>(std::floor(sum / 101.0 + 0.5)));
}

TEST(Recording, TakenUpKeepsWhatTheFileSays) {
  const auto file = fresh_folder() / "recording.h5";
  {
    Recorder recorder = Recorder::create(file, three_channels(), source);
    recorder.append(block_from(0, 100));
    bench::SampleBlock late = block_from(100, 100);
    late.gap_before = true;
    recorder.append(late);
  }
  EXPECT_THROW(Recorder::take_up(file, 201), BadInput);
  Recorder::take_up(file, 100);
  const Recording cut(file);
  EXPECT_TRUE(cut.gaps().empty());
  EXPECT_EQ(cut.device(), "test-device");
  EXPECT_EQ(cut.start(), start);
  EXPECT_EQ(cut.channels().size(), 3U);
  EXPECT_EQ(cut.samples(), 100);
}

}  // namespace
}  // namespace windwright::recording
