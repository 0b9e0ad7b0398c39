// SPDX-License-Identifier: Apache-2.0
#include "analysis/clock_drift.h"

#include "base/clock.h"
#include "base/json.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace windwright::analysis {
namespace {

namespace json = boost::json;

// NIST/ITL Statistical Reference Datasets, Linear Regression, Norris (US Government work): the
// device's seconds are x, the computer's are y. The certified slope is how many of the computer's
// seconds one of the device's lasts.
TEST(PublishedClockDrift, IsTheCertifiedSlopeOfNorris) {
  const json::value set =
      base::json_from_file(SOURCE_FOLDER "/tests/published/data/nist_strd_lls_norris.json");
  const json::array& x = set.at_pointer("/data/x").as_array();
  const json::array& y = set.at_pointer("/data/y").as_array();
  std::vector<recording::ClockPair> pairs;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const auto ns = [](const json::value& s) {
      return static_cast<std::int64_t>(std::llround(1e9 * s.to_number<double>()));
    };
    pairs.push_back({.sample = static_cast<std::int64_t>(i),
                     .device_ns = ns(x[i]),
                     .host = base::UtcTime(std::chrono::nanoseconds(ns(y[i])))});
  }
  const auto drift = clock_drift(pairs, {});
  ASSERT_TRUE(drift);
  const double slope = set.at_pointer("/certified/1/value").to_number<double>();
  const double u_slope = set.at_pointer("/certified/1/sd").to_number<double>();
  EXPECT_NEAR(drift->rate_Hz(1.0), 1.0 / slope, 1e-12);
  EXPECT_NEAR(drift->u_rate_Hz(1.0) / (u_slope / (slope * slope)), 1.0, 1e-9);
  EXPECT_EQ(drift->dof, 34.0);
}

}  // namespace
}  // namespace windwright::analysis
