// SPDX-License-Identifier: Apache-2.0
#include "guard/beside.h"

#include <gtest/gtest.h>

#include <atomic>
#include <cstdint>
#include <optional>
#include <semaphore>
#include <string>
#include <thread>

namespace windwright::guard {
namespace {

// An instrument that answers when it is told to.
TEST(Beside, NobodyWaitsForAnAnswerAndWhatIsAskedForMeanwhileIsDoneOnceMore) {
  std::counting_semaphore<> begun{0};
  std::counting_semaphore<> answer{0};
  std::atomic<int> times = 0;
  {
    Beside beside([&]() -> std::optional<std::string> {
      begun.release();
      answer.acquire();
      return ++times == 1 ? std::optional<std::string>("no answer") : std::nullopt;
    });
    EXPECT_EQ(beside.ask(), 1);
    begun.acquire();
    for (std::uint64_t i = 2; i < 102; ++i) {
      EXPECT_EQ(beside.ask(), i);
      EXPECT_EQ(beside.outcome().number, 0) << "it is not known yet";
    }
    EXPECT_EQ(times, 0);
    answer.release();
    begun.acquire();  // once more, for all of the hundred
    EXPECT_EQ(times, 1);
    EXPECT_EQ(beside.outcome().number, 1);
    EXPECT_EQ(beside.outcome().failure, "no answer");
    answer.release();
    while (beside.outcome().number == 1)
      std::this_thread::yield();
    EXPECT_EQ(beside.outcome().number, 101);
    EXPECT_EQ(beside.outcome().failure, std::nullopt);
    EXPECT_EQ(beside.ask(), 102);
    answer.release(100);  // and the destructor waits for the last
  }
  EXPECT_GE(times, 3);
}

TEST(Beside, WhatWasAskedForLastIsDoneBeforeTheEnd) {
  std::atomic<int> times = 0;
  {
    Beside beside([&]() -> std::optional<std::string> {
      ++times;
      return std::nullopt;
    });
    beside.ask();
  }
  EXPECT_EQ(times, 1);
}

}  // namespace
}  // namespace windwright::guard
