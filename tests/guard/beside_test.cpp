// SPDX-License-Identifier: Apache-2.0
#include "guard/beside.h"

#include <gtest/gtest.h>

#include <atomic>
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
    EXPECT_EQ(beside.ask(), std::nullopt);
    begun.acquire();
    for (int i = 0; i < 100; ++i)
      EXPECT_EQ(beside.ask(), std::nullopt) << "it is not known yet";
    EXPECT_EQ(times, 0);
    answer.release();
    begun.acquire();  // once more, for all of the hundred
    EXPECT_EQ(times, 1);
    EXPECT_EQ(beside.ask(), "no answer");
    answer.release(2);
    while (beside.ask())
      answer.release();
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
