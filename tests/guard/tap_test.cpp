// SPDX-License-Identifier: Apache-2.0
#include "guard/tap.h"

#include "bench/device.h"
#include "guard/half_written.h"
#include "guard/whole.h"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace windwright::guard {
namespace {

using bench::SampleBlock;
using std::chrono::milliseconds;

constexpr std::size_t longest = 10;
const Tap::Shape shape{.channels = 3, .samples = longest};

/// Every count of block n is made of n, the channel and the sample.
SampleBlock block_of(std::int64_t number, std::size_t samples = longest) {
  SampleBlock block{.first_sample = number * 10,
                    .start = base::UtcTime(milliseconds(number)),
                    .gap_before = number % 7 == 3,
                    .received = {},
                    .channels = 3,
                    .samples = samples,
                    .counts = {}};
  for (std::size_t i = 0; i < 3 * samples; ++i)
    block.counts.push_back(static_cast<std::int32_t>(number * 100) + static_cast<std::int32_t>(i));
  return block;
}

bool is_whole(const SampleBlock& block) {
  const SampleBlock wanted = block_of(block.first_sample / 10, block.samples);
  return block.start == wanted.start && block.gap_before == wanted.gap_before &&
         block.channels == wanted.channels && block.samples == wanted.samples &&
         block.counts == wanted.counts;
}

class TapOf : public testing::Test {
 protected:
  TapOf() { Tap::remove(name_); }
  ~TapOf() override { Tap::remove(name_); }

  Tap opened(Side side, const std::string& configuration = "configuration") {
    std::optional<Tap> tap = Tap::open(name_, shape, side, configuration);
    EXPECT_TRUE(tap);
    return std::move(*tap);
  }
  static Instant at(int ms) { return Instant(milliseconds(ms)); }

  /// Runs it in a process of its own, which then ends without a goodbye.
  template <typename Action>
  static void in_another_process(Action action) {
    const pid_t child = fork();
    if (child == 0) {
      action();
      _exit(0);
    }
    int status = 1;
    ASSERT_EQ(waitpid(child, &status, 0), child);
    ASSERT_EQ(status, 0);
  }

  const std::string name_ =
      "/windwright-test-" +
      std::string(testing::UnitTest::GetInstance()->current_test_info()->name()) +
      std::to_string(getpid());
};

TEST_F(TapOf, TheGuardReadsEveryBlockOnceAndInOrder) {
  Tap acquisition = opened(Side::acquisition);
  Tap guard = opened(Side::guard);
  SampleBlock block;
  EXPECT_FALSE(guard.read(block));
  for (std::int64_t i = 0; i < 100; ++i) {
    acquisition.write(block_of(i));
    if (i % 5 != 4) continue;
    for (std::int64_t k = i - 4; k <= i; ++k) {
      ASSERT_TRUE(guard.read(block));
      EXPECT_EQ(block.first_sample, k * 10);
      EXPECT_TRUE(is_whole(block));
    }
    EXPECT_FALSE(guard.read(block));
  }
  EXPECT_EQ(guard.missed(), 0);
}

TEST_F(TapOf, WhatTheGuardIsTooSlowForIsCountedAndTheNewestIsThere) {
  Tap acquisition = opened(Side::acquisition);
  Tap guard = opened(Side::guard);
  for (std::int64_t i = 0; i < 1000; ++i)
    acquisition.write(block_of(i));
  SampleBlock block;
  std::uint64_t read = 0;
  while (guard.read(block)) {
    EXPECT_TRUE(is_whole(block));
    ++read;
  }
  EXPECT_EQ(block.first_sample, 9990);
  EXPECT_EQ(read + guard.missed(), 1000);
  EXPECT_GE(read, 8);
}

// Two threads as fast as they can, the reader always at the slot that is written next: whatever is
// read is one block, never parts of two.
TEST_F(TapOf, NoBlockIsTorn) {
  constexpr Tap::Shape large{.channels = 3, .samples = 2000};
  Tap acquisition = std::move(*Tap::open(name_, large, Side::acquisition, "configuration"));
  Tap guard = std::move(*Tap::open(name_, large, Side::guard, "configuration"));
  constexpr std::int64_t blocks = 20'000;
  std::jthread writer([&acquisition] {
    SampleBlock block = block_of(0, large.samples);
    for (std::int64_t i = 0; i < blocks; ++i) {
      block.first_sample = i * 10;
      block.start = base::UtcTime(milliseconds(i));
      block.gap_before = i % 7 == 3;
      for (std::size_t k = 0; k < block.counts.size(); ++k)
        block.counts[k] = static_cast<std::int32_t>(i * 100) + static_cast<std::int32_t>(k);
      acquisition.write(block);
    }
  });
  SampleBlock block;
  std::int64_t last = -1;
  std::uint64_t read = 0;
  std::uint64_t missed = 0;
  while (last < blocks - 1) {
    if (guard.read(block)) {
      ASSERT_TRUE(is_whole(block)) << block.first_sample;
      ASSERT_GT(block.first_sample / 10, last);
      last = block.first_sample / 10;
      ++read;
    }
    missed += guard.missed();
  }
  EXPECT_EQ(read + missed, blocks);
}

TEST_F(TapOf, TellsTheOtherSidesHeartbeat) {
  Tap acquisition = opened(Side::acquisition, "one");
  Tap guard = opened(Side::guard, "another");
  EXPECT_TRUE(guard.other_lives());
  EXPECT_FALSE(guard.other_pulse());  // it has given none yet
  acquisition.set_cause("too fast");
  acquisition.beat(at(70), {.activity = Activity::running,
                            .state = State::tripping_1,
                            .driven = true,
                            .holds_off = false});
  const std::optional<Pulse> pulse = guard.other_pulse();
  ASSERT_TRUE(pulse);
  EXPECT_EQ(pulse->time, at(70));
  EXPECT_EQ(pulse->words.activity, Activity::running);
  EXPECT_EQ(pulse->words.state, State::tripping_1);
  EXPECT_TRUE(pulse->words.driven);
  EXPECT_FALSE(pulse->words.holds_off);
  EXPECT_FALSE(pulse->words.content());
  EXPECT_EQ(guard.other_cause(), "too fast");
  EXPECT_EQ(guard.other_configuration(), "one");
  EXPECT_EQ(acquisition.other_configuration(), "another");
  acquisition.beat(at(80), {.activity = Activity::standing});
  EXPECT_EQ(guard.other_pulse()->number, pulse->number + 1);
  EXPECT_EQ(guard.other_pulse()->words.activity, Activity::standing);
}

TEST_F(TapOf, OnlyWhatIsJudgedIsThere) {
  const Tap::Shape judged{.channels = 3, .samples = longest, .judged = {0, 2}};
  std::optional<Tap> acquisition = Tap::open(name_, judged, Side::acquisition, "configuration");
  std::optional<Tap> guard = Tap::open(name_, judged, Side::guard, "configuration");
  const SampleBlock written = block_of(5, 7);
  acquisition->write(written);
  SampleBlock block;
  ASSERT_TRUE(guard->read(block));
  ASSERT_EQ(block.counts.size(), written.counts.size());
  for (const std::size_t channel : {0U, 2U})
    EXPECT_TRUE(std::ranges::equal(block.channel(channel), written.channel(channel))) << channel;
  for (const std::int32_t count : block.channel(1))
    EXPECT_EQ(count, 0);
}

TEST_F(TapOf, EachSideIsOneProcessAtMost) {
  const Tap first = opened(Side::guard);
  EXPECT_FALSE(Tap::open(name_, shape, Side::guard, "configuration"));
  EXPECT_TRUE(Tap::open(name_, shape, Side::acquisition, "configuration"));
}

TEST_F(TapOf, AProcessThatWasKilledIsNotTakenForAlive) {
  Tap guard = opened(Side::guard);
  in_another_process([this] {
    Tap acquisition = std::move(*Tap::open(name_, shape, Side::acquisition, "configuration"));
    acquisition.write(block_of(4));
    acquisition.beat(at(1), {.activity = Activity::running});
    _exit(0);  // destroys nothing
  });
  EXPECT_FALSE(guard.other_lives());
  ASSERT_TRUE(guard.other_pulse());  // its last
  EXPECT_EQ(guard.other_pulse()->words.activity, Activity::running);
  // The one after it takes its place, and is not taken for it.
  Tap next = opened(Side::acquisition);
  EXPECT_TRUE(guard.other_lives());
  EXPECT_FALSE(guard.other_pulse());
  next.beat(at(2), {.activity = Activity::standing});
  EXPECT_EQ(guard.other_pulse()->number, 2);
}

TEST_F(TapOf, HeartbeatsCountOnBehindAProcessThatWasKilledWithinOne) {
  Tap guard = opened(Side::guard);
  {
    Tap killed = opened(Side::acquisition);
    for (int i = 1; i < 10; ++i)
      killed.beat(at(i), {.activity = Activity::running});
    kill_within_a_heartbeat(name_, [&] { killed.beat(at(10), {.activity = Activity::running}); });
  }
  Tap next = opened(Side::acquisition);
  next.beat(at(20), {.activity = Activity::standing});
  ASSERT_TRUE(guard.other_pulse());
  EXPECT_EQ(guard.other_pulse()->number, 11);
}

TEST_F(TapOf, TellsWhichProcessesDidNotEndInOrder) {
  const Tap guard = opened(Side::guard);
  EXPECT_EQ(guard.other_life(), 0);
  const auto live = [this](std::optional<Activity> last) {
    Tap acquisition = opened(Side::acquisition);
    if (last) acquisition.beat(at(1), {.activity = *last});
  };
  live(Activity::running);
  live(Activity::ended);
  EXPECT_EQ(guard.other_life(), 2);
  EXPECT_EQ(guard.last_died(), 1);
  live(std::nullopt);  // drove nothing, and has said nothing
  live(Activity::standing);
  EXPECT_EQ(guard.last_died(), 1);
  live(Activity::ended);
  EXPECT_EQ(guard.last_died(), 4);
}

TEST_F(TapOf, AGuardDoesNotReadWhatWasWrittenBeforeIt) {
  in_another_process([this] {
    Tap acquisition = std::move(*Tap::open(name_, shape, Side::acquisition, "configuration"));
    acquisition.write(block_of(1));
  });
  Tap guard = opened(Side::guard);
  SampleBlock block;
  EXPECT_FALSE(guard.read(block));
  Tap acquisition = opened(Side::acquisition);
  acquisition.write(block_of(2));
  ASSERT_TRUE(guard.read(block));
  EXPECT_EQ(block.first_sample, 20);
}

TEST_F(TapOf, BlocksOfAnotherShapeAfterwardsAreReadWhole) {
  in_another_process([this] {
    Tap acquisition = std::move(
        *Tap::open(name_, {.channels = 1, .samples = 4}, Side::acquisition, "configuration"));
    SampleBlock narrow;
    narrow.fill(std::vector<std::int32_t>{1, 2, 3, 4}, 1);
    for (int i = 0; i < 25; ++i)
      acquisition.write(narrow);
  });
  Tap acquisition = opened(Side::acquisition);
  Tap guard = opened(Side::guard);
  SampleBlock block;
  for (std::int64_t i = 0; i < 30; ++i) {
    acquisition.write(block_of(i));
    ASSERT_TRUE(guard.read(block));
    EXPECT_TRUE(is_whole(block));
  }
}

// Whatever else is in the memory: nothing is read beyond it, and nothing hangs.
TEST_F(TapOf, NonsenseInTheMemoryIsNotABlock) {
  Tap acquisition = opened(Side::acquisition);
  Tap guard = opened(Side::guard);
  for (std::int64_t i = 0; i < 40; ++i)
    acquisition.write(block_of(i));
  const int handle = shm_open(name_.c_str(), O_RDWR, 0600);
  ASSERT_GE(handle, 0);
  const auto bytes = static_cast<std::size_t>(lseek(handle, 0, SEEK_END));
  for (const int nonsense : {0x55, 0xff, 0x01}) {
    const std::vector<unsigned char> all(bytes, static_cast<unsigned char>(nonsense));
    ASSERT_EQ(pwrite(handle, all.data(), all.size(), 0), static_cast<ssize_t>(bytes));
    SampleBlock block;
    for (int i = 0; i < 100; ++i)
      static_cast<void>(guard.read(block));
    EXPECT_EQ(block.counts.size(), block.channels * block.samples);
    EXPECT_LE(block.counts.size(), 30);
    static_cast<void>(guard.other_pulse());
    EXPECT_LE(guard.other_cause().size(), 240);
    static_cast<void>(guard.reset_asked());
  }
  close(handle);
}

TEST_F(TapOf, AWishToResetIsAnsweredOnce) {
  EXPECT_FALSE(Tap::ask_reset(name_, "nobody guards"));
  Tap guard = opened(Side::guard);
  EXPECT_FALSE(guard.reset_asked());
  const std::optional<std::uint64_t> number = Tap::ask_reset(name_, "blade fastened");
  ASSERT_TRUE(number);
  EXPECT_EQ(guard.reset_asked(), "blade fastened");
  EXPECT_FALSE(Tap::answer_to_reset(name_, *number));
  guard.answer_reset("it runs");
  EXPECT_FALSE(guard.reset_asked());
  EXPECT_EQ(Tap::answer_to_reset(name_, *number), "it runs");
}

TEST_F(TapOf, AWishThatAnEarlierGuardLeftIsNotAnswered) {
  std::optional<Tap> earlier = opened(Side::guard);
  ASSERT_TRUE(Tap::ask_reset(name_, "too late"));
  earlier.reset();
  const Tap guard = opened(Side::guard);
  EXPECT_FALSE(guard.reset_asked());
}

// What a process leaves that was killed while it wrote.
TEST(WholeValue, HalfWrittenIsNotThereAndTheNextIs) {
  const auto whole = std::make_unique<Whole<std::array<std::uint64_t, 4>>>();
  EXPECT_FALSE(whole->load());
  whole->store({1, 2, 3, 4});
  ASSERT_TRUE(whole->load());
  EXPECT_EQ((*whole->load())[3], 4);
  std::uint64_t turn = 0;  // its first member
  std::memcpy(&turn, static_cast<void*>(whole.get()), sizeof turn);
  ++turn;
  std::memcpy(static_cast<void*>(whole.get()), &turn, sizeof turn);
  EXPECT_FALSE(whole->load());
  whole->store({5, 6, 7, 8});
  ASSERT_TRUE(whole->load());
  EXPECT_EQ((*whole->load())[0], 5);
}

TEST_F(TapOf, ABlockBeyondTheShapeIsLeftOut) {
  Tap acquisition = opened(Side::acquisition);
  Tap guard = opened(Side::guard);
  acquisition.write(block_of(1, 1000));
  acquisition.write(block_of(2));
  acquisition.write(block_of(3, 4));  // a short one, before a gap
  SampleBlock block;
  ASSERT_TRUE(guard.read(block));
  EXPECT_EQ(block.first_sample, 20);
  ASSERT_TRUE(guard.read(block));
  EXPECT_EQ(block.samples, 4U);
  EXPECT_TRUE(is_whole(block));
  EXPECT_FALSE(guard.read(block));
}

TEST_F(TapOf, LongWordsAreCutOff) {
  const Tap guard = opened(Side::guard);
  Tap acquisition = opened(Side::acquisition);
  acquisition.set_cause(std::string(1000, 'x'));
  EXPECT_EQ(guard.other_cause(), std::string(240, 'x'));
}

}  // namespace
}  // namespace windwright::guard
