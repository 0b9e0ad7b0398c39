// SPDX-License-Identifier: Apache-2.0
// Recordings whose writer was killed or whose disk was full, compressed or not.
#include "base/errors.h"
#include "bench/bench.h"
#include "counted_samples.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <hdf5.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <ios>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>

namespace windwright::recording {
namespace {

class Interrupted : public testing::TestWithParam<bench::Compression> {};

// A process that records without end and tells after each flush how far it got. It is another one
// because a process cannot open one file both ways.
class Writer {
 public:
  Writer(const std::filesystem::path& file, std::optional<std::int64_t> take_up_at,
         bench::Compression compression) {
    std::array<int, 2> ends{};
    if (pipe(ends.data()) != 0) throw std::runtime_error("no pipe");
    child_ = fork();
    if (child_ == 0) record(file, take_up_at, compression, ends[1]);
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
                                  std::optional<std::int64_t> take_up_at,
                                  bench::Compression compression, int tell) {
    Recorder recorder = take_up_at ? Recorder::take_up(file, *take_up_at)
                                   : Recorder::create(file, three_channels(compression), source);
    for (std::int64_t block = 1;; ++block) {
      recorder.append(block_from(recorder.samples(), 70));
      if (block % 30 != 0) continue;
      block % 60 == 0 ? recorder.flush_chunks() : recorder.flush();
      const std::int64_t done = recorder.flushed();
      if (write(tell, &done, sizeof done) != sizeof done) _exit(1);
    }
  }

  pid_t child_ = 0;
  int told_ = -1;
  std::int64_t last_ = 0;
};

TEST_P(Interrupted, CanBeFollowedWhileItIsWritten) {
  const auto file = fresh_folder() / "recording.h5";
  Writer writer(file, std::nullopt, GetParam());
  for (int look = 0; look < 3; ++look) {
    const std::int64_t done = writer.next_flush();
    const Recording recording(file);
    ASSERT_GE(recording.samples(), done);
    EXPECT_EQ(recording.counts("air_speed_m_s", done - 1, 1)[0], count_at(0, done - 1));
  }
}

TEST_P(Interrupted, LosesAndDoublesNothingWhenTheWriterIsKilled) {
  const auto file = fresh_folder() / "recording.h5";
  std::optional<std::int64_t> done;
  for (int flushes = 1; flushes < 40; flushes += 6) {
    Writer writer(file, done, GetParam());
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
  std::array<hsize_t, 2> offset{};
  hsize_t bytes = 0;
  unsigned filters = 0;
  haddr_t address = 0;
  EXPECT_GE(H5Dget_num_chunks(data, space, &chunks), 0);
  EXPECT_GE(H5Dget_chunk_info(data, space, chunks - 1, offset.data(), &filters, &address, &bytes),
            0);
  H5Sclose(space);
  H5Dclose(data);
  H5Fclose(id);
  return {static_cast<std::int64_t>(address), static_cast<std::int64_t>(bytes)};
}

// A chunk that is not full is its end.
void killed_after_a_flush(const std::filesystem::path& file, std::int64_t samples,
                          bench::Compression compression) {
  const pid_t child = fork();
  if (child == 0) {
    Recorder recorder = Recorder::create(file, three_channels(compression), source);
    recorder.append(block_from(0, static_cast<std::size_t>(samples)));
    recorder.flush();
    raise(SIGKILL);
  }
  waitpid(child, nullptr, 0);
}

void spoil(const std::filesystem::path& file, std::int64_t at) {
  std::fstream bytes(file, std::ios::binary | std::ios::in | std::ios::out);
  bytes.seekp(at);
  bytes.write("\x5a\xa5", 2);
}

// The kernel may end a killed program in the middle of a write, and a disk in the middle of a
// chunk.
TEST_P(Interrupted, ReadsWhatWasFlushedThoughTheLastChunkIsTorn) {
  const auto file = fresh_folder() / "recording.h5";
  constexpr const char* speed = "/streams/test-device/rotor_speed_rad_s";
  constexpr std::int64_t done = 2'100;
  killed_after_a_flush(file, done, GetParam());
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

// The first row of the gaps is whole, whatever became of the second.
TEST_P(Interrupted, ReadsTheGapsThatAreWholeThoughTheirEndIsTorn) {
  const auto file = fresh_folder() / "recording.h5";
  const pid_t child = fork();
  if (child == 0) {
    Recorder recorder = Recorder::create(file, three_channels(GetParam()), source);
    for (const std::int64_t first : {0, 500, 900})
      recorder.append(block_from(first, 300));
    recorder.flush();
    raise(SIGKILL);
  }
  waitpid(child, nullptr, 0);
  EXPECT_TRUE(Recording(file).gaps_are_whole());
  ASSERT_EQ(Recording(file).gaps().size(), 2U);
  const auto [address, bytes] = last_chunk(file, "/gaps/test-device");
  spoil(file, address + bytes - 4);  // its checksum
  const Recording both(file);
  EXPECT_FALSE(both.gaps_are_whole());
  ASSERT_EQ(both.gaps().size(), 2U);
  EXPECT_EQ(both.gaps()[1].before_sample, 600);
  EXPECT_EQ(both.gaps()[1].device_sample, 900);
  spoil(file, address + 3 * 8 + 6);  // the second row's device sample is no longer one
  const Recording one(file);
  EXPECT_FALSE(one.gaps_are_whole());
  ASSERT_EQ(one.gaps().size(), 1U);
  EXPECT_EQ(one.gaps()[0].before_sample, 300);
  EXPECT_EQ(one.gaps()[0].device_sample, 500);
  EXPECT_EQ(one.samples(), 900);
  // A file that was closed has no torn end.
  Recorder::take_up(file, 900);
  spoil(file, last_chunk(file, "/gaps/test-device").first + 8);
  EXPECT_THROW(Recording{file}, std::runtime_error);
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

TEST_P(Interrupted, EndsWholeWhenThereIsNoRoomForMore) {
  for (rlim_t bytes = 30'000; bytes < 800'000; bytes += 150'000) {
    SCOPED_TRACE(bytes);
    const auto file = fresh_folder() / "recording.h5";
    std::int64_t samples = 0;
    {
      std::optional<Recorder> recorder;
      const SmallDisk small(bytes);
      try {
        recorder.emplace(Recorder::create(file, three_channels(GetParam()), source));
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
std::pair<std::int64_t, bool> record_until_full(const std::filesystem::path& file, rlim_t more,
                                                bench::Compression compression) {
  std::array<int, 2> ends{};
  if (pipe(ends.data()) != 0) throw std::runtime_error("no pipe");
  const pid_t child = fork();
  std::pair<std::int64_t, bool> told{-1, false};
  if (child == 0) {
    {
      Recorder recorder = Recorder::create(file, three_channels(compression), source);
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
TEST_P(Interrupted, KeepsWhatWasFlushedWhenAWriteFails) {
  int failed = 0;
  for (rlim_t more = 100; more < 60'000; more += 4'700) {
    SCOPED_TRACE(more);
    const auto file = fresh_folder() / "recording.h5";
    const auto [flushed, write_failed] = record_until_full(file, more, GetParam());
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

INSTANTIATE_TEST_SUITE_P(Compression, Interrupted,
                         testing::Values(bench::Compression::none, bench::Compression::deflate),
                         [](const auto& each) {
                           return each.param == bench::Compression::none ? "none" : "deflate";
                         });

}  // namespace
}  // namespace windwright::recording
