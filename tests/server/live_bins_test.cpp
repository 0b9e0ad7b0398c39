// SPDX-License-Identifier: Apache-2.0
#include "station/live_bins.h"

#include "server/envelope.h"
#include "server/exchange.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <random>
#include <vector>

namespace windwright::server {
namespace {

constexpr double rate_hz = 1000.0;

struct Samples {
  std::vector<float> values;
  std::int64_t first = 0;
};

void feed(station::LiveBins& bins, std::int64_t first, std::span<const float> values) {
  bins.begin(first, base::UtcTime{}, values.size());
  bins.take(0, values);
}

// Every level, held against the samples themselves, whatever the blocks they came in.
TEST(LiveBins, HoldLowestHighestAndMeanOfTheirSamples) {
  std::mt19937 random(2026);
  std::normal_distribution<float> normal;
  std::vector<float> samples(20'000);
  for (float& sample : samples)
    sample = normal(random);
  station::LiveBins bins(1, rate_hz);
  for (std::size_t at = 0; at < samples.size();) {
    const std::size_t part = std::min<std::size_t>(1 + random() % 97, samples.size() - at);
    feed(bins, static_cast<std::int64_t>(at), std::span(samples).subspan(at, part));
    at += part;
  }
  for (const int level : {0, 3, 7}) {
    const auto width = static_cast<std::size_t>(std::llround(bins.bin_s(level) * rate_hz));
    const auto count = static_cast<std::size_t>(bins.newest_bin(level) + 1);
    EXPECT_EQ(count, (samples.size() + width - 1) / width);
    std::vector<float> rows(3 * count);
    bins.read(level, 0, 0, rows);
    for (std::size_t bin = 0; bin < count; ++bin) {
      const auto from = samples.begin() + static_cast<std::ptrdiff_t>(bin * width);
      const auto to = samples.begin() +
                      static_cast<std::ptrdiff_t>(std::min(samples.size(), (bin + 1) * width));
      double sum = 0.0;
      for (auto each = from; each != to; ++each)
        sum += static_cast<double>(*each);
      EXPECT_EQ(rows[bin], *std::min_element(from, to));
      EXPECT_EQ(rows[count + bin], *std::max_element(from, to));
      EXPECT_NEAR(rows[2 * count + bin], sum / static_cast<double>(to - from), 1e-6);
    }
  }
}

TEST(LiveBins, ShowAGapAsNoSample) {
  station::LiveBins bins(1, rate_hz);
  const std::vector<float> ones(100, 1.0F);
  feed(bins, 500, ones);
  feed(bins, 700, ones);  // 100 samples were missed
  std::vector<float> rows(3 * 30);
  bins.read(0, 0, 0, rows);
  EXPECT_EQ(rows[9], 1.0F);
  EXPECT_TRUE(std::isnan(rows[10]));
  EXPECT_TRUE(std::isnan(rows[19]));
  EXPECT_EQ(rows[20], 1.0F);
  EXPECT_EQ(bins.epoch(), 0);
}

TEST(LiveBins, BeginAnewWhereTheCountStepsBack) {
  station::LiveBins bins(1, rate_hz);
  const std::vector<float> ones(100, 1.0F);
  feed(bins, 500, ones);
  feed(bins, 0, ones);
  EXPECT_EQ(bins.epoch(), 1);
  EXPECT_EQ(bins.newest_bin(0), 9);
}

TEST(LiveBins, ForgetWhatIsTooOld) {
  station::LiveBins bins(1, rate_hz);
  const std::vector<float> ones(1000, 1.0F);
  for (int i = 0; i < 60; ++i)
    feed(bins, 1000 * i, ones);
  EXPECT_EQ(bins.oldest_bin(0), 6000 - station::LiveBins::kept);
  std::vector<float> row(3);
  bins.read(0, 0, 0, row);
  EXPECT_TRUE(std::isnan(row[0]));
}

TEST(Envelope, IsLaidOutAsDescribed) {
  station::LiveBins bins(1, rate_hz);
  const std::vector<float> values(20, 2.5F);
  feed(bins, 0, values);
  const std::vector<std::size_t> channels{0};
  const std::vector<float> newest{7.0F};
  const std::string bytes = envelope(bins,
                                     {.fresh = true,
                                      .gap = false,
                                      .stream = 0x0102,
                                      .number = 9,
                                      .level = 0,
                                      .first_bin = 0,
                                      .bins = 2,
                                      .device_time = base::UtcTime(std::chrono::nanoseconds(11)),
                                      .host_time = base::UtcTime(std::chrono::nanoseconds(13))},
                                     channels, newest);
  ASSERT_EQ(bytes.size(), 40U + 4U + 3U * 2U * 4U);
  EXPECT_EQ(bytes.substr(0, 4), std::string("\x01\x01\x02\x01", 4));
  const auto whole = [&](std::size_t at) {
    std::int64_t value = 0;
    std::memcpy(&value, bytes.data() + at, sizeof value);
    return value;
  };
  EXPECT_EQ(whole(16), 0);
  EXPECT_EQ(whole(24), 11);
  EXPECT_EQ(whole(32), 13);
  float number = 0.0F;
  std::memcpy(&number, bytes.data() + 40, sizeof number);
  EXPECT_EQ(number, 7.0F);
  std::memcpy(&number, bytes.data() + 44, sizeof number);
  EXPECT_EQ(number, 2.5F);
}

TEST(ViewerMessage, TakesASubscription) {
  const ViewerMessage message = viewer_message(
      R"({"type": "subscribe", "bench": "b", "channels": ["x"], "window_s": 60, "bins": 600})");
  EXPECT_TRUE(message.subscribes);
  EXPECT_EQ(message.subscription.bins, 600);
}

TEST(ViewerMessage, RefusesEverythingElse) {
  for (const char* text :
       {"", "{", "[]", "{}", R"({"type": "x", "bench": "b"})", R"({"type": "subscribe"})",
        R"({"type": "subscribe", "bench": "b", "window_s": 0, "bins": 100})",
        R"({"type": "subscribe", "bench": "b", "window_s": 60, "bins": 9})",
        R"({"type": "subscribe", "bench": "b", "window_s": 60, "bins": 10.5})",
        R"({"type": "subscribe", "bench": "b", "window_s": 1e999, "bins": 100})",
        R"({"type": "subscribe", "bench": 1, "window_s": 60, "bins": 100})"}) {
    EXPECT_THROW(viewer_message(text), station::Refusal) << text;
  }
}

}  // namespace
}  // namespace windwright::server
