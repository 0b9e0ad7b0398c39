// SPDX-License-Identifier: Apache-2.0
#include "guard/feeding_thread.h"

#include <gtest/gtest.h>

#include <atomic>
#include <optional>
#include <semaphore>
#include <string>
#include <thread>

namespace windwright::guard {
namespace {

// An instrument that answers when it is told to.
TEST(FeedingThread, NobodyWaitsForAnAnswer) {
  std::counting_semaphore<> asked{0};
  std::counting_semaphore<> answer{0};
  std::atomic<int> fed = 0;
  {
    FeedingThread feeding([&]() -> std::optional<std::string> {
      asked.release();
      answer.acquire();
      return ++fed == 1 ? std::optional<std::string>("no answer") : std::nullopt;
    });
    EXPECT_EQ(feeding.feed(), std::nullopt);
    asked.acquire();
    for (int i = 0; i < 100; ++i)
      EXPECT_EQ(feeding.feed(), std::nullopt) << "it is not known yet";
    EXPECT_EQ(fed, 0);
    answer.release();
    while (feeding.feed() != "no answer")
      std::this_thread::yield();
    asked.acquire();  // that was asked for with the answer
    EXPECT_EQ(feeding.feed(), "no answer") << "until it was possible again";
    answer.release();
    while (feeding.feed())
      std::this_thread::yield();
    asked.acquire();
    answer.release();  // and the destructor waits for the last
  }
  EXPECT_EQ(fed, 3);
}

}  // namespace
}  // namespace windwright::guard
