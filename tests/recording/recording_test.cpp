// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <optional>
#include <stdexcept>
#include <string>
#include <tuple>
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
