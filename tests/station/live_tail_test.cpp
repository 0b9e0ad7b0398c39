// SPDX-License-Identifier: Apache-2.0
#include "station/live_tail.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <vector>

namespace windwright::station {
namespace {

// Channel c of sample n is 1000 c + n.
void take(LiveTail& tail, bool joins, int first, int samples) {
  tail.begin(joins, static_cast<std::size_t>(samples));
  for (std::size_t channel = 0; channel < 2; ++channel) {
    std::vector<float> values;
    for (int i = 0; i < samples; ++i)
      values.push_back(static_cast<float>(1e6 * static_cast<double>(channel) + first + i));
    tail.take(channel, values);
  }
}

void expect_consecutive(const std::vector<double>& samples, double first, std::size_t count) {
  ASSERT_EQ(samples.size(), count);
  for (std::size_t i = 0; i < count; ++i)
    ASSERT_EQ(samples[i], first + static_cast<double>(i)) << i;
}

TEST(LiveTail, KeepsTheNewestSamplesInOrder) {
  LiveTail tail(2, 100.0);
  ASSERT_EQ(tail.capacity(), LiveTail::least);
  for (int first = 0; first < 5000; first += 50)
    take(tail, true, first, 50);
  expect_consecutive(tail.samples(0), 5000.0 - 2048.0, 2048);
  expect_consecutive(tail.samples(1), 1e6 + 5000.0 - 2048.0, 2048);
}

TEST(LiveTail, ForgetsWhatLiesBeforeAGap) {
  LiveTail tail(2, 100.0);
  take(tail, true, 0, 700);
  take(tail, false, 900, 30);
  take(tail, true, 930, 20);
  expect_consecutive(tail.samples(1), 1e6 + 900.0, 50);
}

TEST(LiveTail, TakesAStretchThatIsLongerThanItself) {
  LiveTail tail(2, 100.0);
  take(tail, true, 0, 10);
  take(tail, true, 10, 5000);
  expect_consecutive(tail.samples(0), 5010.0 - 2048.0, 2048);
}

}  // namespace
}  // namespace windwright::station
