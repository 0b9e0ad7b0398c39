// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>
#include <hdf5.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <ios>
#include <optional>
#include <stdexcept>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace windwright::recording {
namespace {

using base::BadInput;

bench::Bench three_channels() {
  bench::Bench bench{};
  bench.sample_rate_hz = 1000.0;
  for (const auto& [name, unit, bits] : {std::tuple{"air_speed_m_s", "m s-1", 16},
                                         {"rotor_speed_rad_s", "rad s-1", 12},
                                         {"dc_voltage_V", "V", 24}}) {
    bench::Channel channel{};
    channel.name = name;
    channel.long_name = std::string("made-up ") + name;
    channel.unit = unit;
    channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = bits};
    bench.channels.push_back(channel);
  }
  return bench;
}

// Every count tells which sample of which channel it is.
std::int32_t count_at(std::size_t channel, std::int64_t sample) {
  constexpr std::array<std::int64_t, 3> modulus = {65536, 4096, 1 << 24};
  return static_cast<std::int32_t>((sample * 7 + static_cast<std::int64_t>(channel) * 1000) %
                                   modulus[channel]);
}

bench::SampleBlock block_from(std::int64_t first, std::size_t samples) {
  bench::SampleBlock block;
  block.first_sample = first;
  block.channels = 3;
  block.samples = samples;
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t i = 0; i < samples; ++i)
      block.counts.push_back(count_at(c, first + static_cast<std::int64_t>(i)));
  }
  return block;
}

void expect_every_sample(const std::filesystem::path& file, std::int64_t samples) {
  const Recording recording(file);
  ASSERT_EQ(recording.samples(), samples);
  for (std::size_t c = 0; c < 3; ++c) {
    const auto counts = recording.counts(recording.channels()[c], 0, samples);
    for (std::int64_t i = 0; i < samples; ++i)
      ASSERT_EQ(counts[static_cast<std::size_t>(i)], count_at(c, i)) << c << ' ' << i;
  }
}

constexpr base::UtcTime start{std::chrono::hours(24 * 365 * 50)};
const Source source{.device = "test-device", .start = start};

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

// A process that records without end and tells after each flush how far it got. It is another one
// because a process cannot open one file both ways.
class Writer {
 public:
  Writer(const std::filesystem::path& file, std::optional<std::int64_t> take_up_at) {
    std::array<int, 2> ends{};
    if (pipe(ends.data()) != 0) throw std::runtime_error("no pipe");
    child_ = fork();
    if (child_ == 0) record(file, take_up_at, ends[1]);
    close(ends[1]);
    told_ = ends[0];
  }
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;
  ~Writer() { kill(); }

  std::int64_t next_flush() {
    std::int64_t done = 0;
    if (read(told_, &done, sizeof done) != sizeof done) throw std::runtime_error("writer ended");
    return last_ = done;
  }
  // Samples flushed for sure, told before the end or after our last look.
  std::int64_t kill() {
    if (child_ == 0) return last_;
    ::kill(child_, SIGKILL);
    waitpid(child_, nullptr, 0);
    child_ = 0;
    for (std::int64_t more = 0; read(told_, &more, sizeof more) == sizeof more;)
      last_ = more;
    close(told_);
    return last_;
  }

 private:
  [[noreturn]] static void record(const std::filesystem::path& file,
                                  std::optional<std::int64_t> take_up_at, int tell) {
    Recorder recorder = take_up_at ? Recorder::take_up(file, *take_up_at)
                                   : Recorder::create(file, three_channels(), source);
    for (std::int64_t block = 1;; ++block) {
      recorder.append(block_from(recorder.samples(), 70));
      if (block % 30 != 0) continue;
      recorder.flush();
      const std::int64_t done = recorder.samples();
      if (write(tell, &done, sizeof done) != sizeof done) _exit(1);
    }
  }

  pid_t child_ = 0;
  int told_ = -1;
  std::int64_t last_ = 0;
};

TEST(Recording, CanBeFollowedWhileItIsWritten) {
  const auto file = fresh_folder() / "recording.h5";
  Writer writer(file, std::nullopt);
  for (int look = 0; look < 3; ++look) {
    const std::int64_t done = writer.next_flush();
    const Recording recording(file);
    ASSERT_GE(recording.samples(), done);
    EXPECT_EQ(recording.counts("air_speed_m_s", done - 1, 1)[0], count_at(0, done - 1));
  }
}

TEST(Recording, LosesAndDoublesNothingWhenTheWriterIsKilled) {
  const auto file = fresh_folder() / "recording.h5";
  std::optional<std::int64_t> done;
  for (int flushes = 1; flushes < 40; flushes += 6) {
    Writer writer(file, done);
    for (int i = 0; i < flushes; ++i)
      writer.next_flush();
    done = writer.kill();
    ASSERT_GE(Recording(file).samples(), *done) << "killed after flush " << flushes;
  }
  {
    Recorder recorder = Recorder::take_up(file, *done);
    EXPECT_EQ(recorder.samples(), *done);
    recorder.append(block_from(*done, 50));
  }
  expect_every_sample(file, *done + 50);
}

// Where the last chunk of a channel lies in the file.
std::pair<std::int64_t, std::int64_t> last_chunk(const std::filesystem::path& file,
                                                 const char* dataset) {
  const hid_t id = H5Fopen(file.c_str(), H5F_ACC_RDONLY | H5F_ACC_SWMR_READ, H5P_DEFAULT);
  const hid_t data = H5Dopen2(id, dataset, H5P_DEFAULT);
  const hid_t space = H5Dget_space(data);
  hsize_t chunks = 0;
  hsize_t offset = 0;
  hsize_t bytes = 0;
  unsigned filters = 0;
  haddr_t address = 0;
  EXPECT_GE(H5Dget_num_chunks(data, space, &chunks), 0);
  EXPECT_GE(H5Dget_chunk_info(data, space, chunks - 1, &offset, &filters, &address, &bytes), 0);
  H5Sclose(space);
  H5Dclose(data);
  H5Fclose(id);
  return {static_cast<std::int64_t>(address), static_cast<std::int64_t>(bytes)};
}

void spoil(const std::filesystem::path& file, std::int64_t at) {
  std::fstream bytes(file, std::ios::binary | std::ios::in | std::ios::out);
  bytes.seekp(at);
  bytes.write("\x5a\xa5", 2);
}

// The kernel may end a killed program in the middle of a write, and a disk in the middle of a
// chunk.
TEST(Recording, ReadsWhatWasFlushedThoughTheLastChunkIsTorn) {
  const auto file = fresh_folder() / "recording.h5";
  constexpr const char* speed = "/streams/test-device/rotor_speed_rad_s";
  std::int64_t done = 0;
  {
    Writer writer(file, std::nullopt);
    done = writer.next_flush();
    done = writer.kill();
  }
  const auto [address, bytes] = last_chunk(file, speed);
  spoil(file, address + bytes - 4);  // its checksum
  const auto counts = Recording(file).counts("rotor_speed_rad_s", 0, done);
  for (std::int64_t i = 0; i < done; ++i)
    ASSERT_EQ(counts[static_cast<std::size_t>(i)], count_at(1, i));
  // Whoever closed the file left no torn chunk behind: that one was damaged later.
  Recorder::take_up(file, done);
  const auto [whole, whole_bytes] = last_chunk(file, speed);
  spoil(file, whole + whole_bytes - 4);
  EXPECT_THROW(Recording(file).counts("rotor_speed_rad_s", 0, done), std::runtime_error);
}

// No file may grow beyond a size while this lives: what a full disk does to a write, for one
// process alone.
class SmallDisk {
 public:
  explicit SmallDisk(rlim_t bytes) {
    getrlimit(RLIMIT_FSIZE, &before_);
    const rlimit small{.rlim_cur = bytes, .rlim_max = before_.rlim_max};
    signal_before_ = ::signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &small);
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;
  ~SmallDisk() {
    setrlimit(RLIMIT_FSIZE, &before_);
    ::signal(SIGXFSZ, signal_before_);
  }

 private:
  rlimit before_{};
  sighandler_t signal_before_ = SIG_DFL;
};

void expect_taken_up(const std::filesystem::path& file, std::int64_t samples) {
  Recorder again = Recorder::take_up(file, samples);
  again.append(block_from(samples, 70));
  again.finish();
  expect_every_sample(file, samples + 70);
}

TEST(Recording, EndsWholeWhenThereIsNoRoomForMore) {
  for (rlim_t bytes = 30'000; bytes < 800'000; bytes += 150'000) {
    SCOPED_TRACE(bytes);
    const auto file = fresh_folder() / "recording.h5";
    std::int64_t samples = 0;
    {
      std::optional<Recorder> recorder;
      const SmallDisk small(bytes);
      try {
        recorder.emplace(Recorder::create(file, three_channels(), source));
        while (recorder->samples() < 1'000'000)
          recorder->append(block_from(recorder->samples(), 70));
        FAIL() << "the disk was not full";
      } catch (const base::DiskFault& fault) {
        EXPECT_NE(std::string(fault.what()).find("(File too large): make room"), std::string::npos)
            << fault.what();
      }
      if (!recorder) {
        EXPECT_TRUE(std::filesystem::is_empty(file.parent_path()));
        continue;
      }
      samples = recorder->samples();
      recorder->finish();
    }
    expect_every_sample(file, samples);
    // To the end, with its pyramid.
    const auto bins = Recording(file).bins("air_speed_m_s", {.first = 0, .count = samples}, 1);
    EXPECT_EQ(bins.empty(), samples == 0);
    expect_taken_up(file, samples);
  }
}

// A program of its own, as the file stays open until its end: how many samples it flushed, and
// whether a write failed at last rather than that there was no room for one.
std::pair<std::int64_t, bool> record_until_full(const std::filesystem::path& file, rlim_t more) {
  std::array<int, 2> ends{};
  if (pipe(ends.data()) != 0) throw std::runtime_error("no pipe");
  const pid_t child = fork();
  std::pair<std::int64_t, bool> told{-1, false};
  if (child == 0) {
    {
      Recorder recorder = Recorder::create(file, three_channels(), source);
      recorder.append(block_from(0, 70));  // room is kept now, and not again before it is used
      recorder.flush();
      const SmallDisk small(std::filesystem::file_size(file) + more);
      try {
        for (int block = 1; block < 10'000; ++block) {
          recorder.append(block_from(recorder.samples(), 70));
          if (block % 5 == 0) recorder.flush();
        }
      } catch (const base::DiskFault& fault) {
        told = {recorder.flushed(), std::string(fault.what()).find("cannot ") != std::string::npos};
      }
    }
    _exit(write(ends[1], &told, sizeof told) == sizeof told ? 0 : 1);
  }
  int status = 0;
  waitpid(child, &status, 0);
  EXPECT_EQ(status, 0);
  EXPECT_EQ(read(ends[0], &told, sizeof told), sizeof told);
  for (const int end : ends)
    close(end);
  return told;
}

// Wherever in the file's growth a write fails, at samples or at HDF5's own bookkeeping.
TEST(Recording, KeepsWhatWasFlushedWhenAWriteFails) {
  int failed = 0;
  for (rlim_t more = 100; more < 60'000; more += 4'700) {
    SCOPED_TRACE(more);
    const auto file = fresh_folder() / "recording.h5";
    const auto [flushed, write_failed] = record_until_full(file, more);
    failed += write_failed ? 1 : 0;
    // A flush that failed half-way may have brought more; what the file says it has is right.
    const std::int64_t there = Recording(file).samples();
    EXPECT_GE(there, flushed);
    EXPECT_GE(flushed, 70);
    expect_every_sample(file, there);
    expect_taken_up(file, flushed);
  }
  EXPECT_GE(failed, 10);
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
