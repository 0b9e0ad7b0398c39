// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"

#include <gtest/gtest.h>

#include <cmath>

namespace windwright::base {
namespace {

TEST(RandomStream, GivesTheSameNumberForTheSameCounterInAnyOrder) {
  const RandomStream a(7, "air_speed_m_s");
  const RandomStream b(7, "air_speed_m_s");
  EXPECT_EQ(a.normal(1000), b.normal(1000));
  EXPECT_EQ(a.normal(3), b.normal(3));
}

TEST(RandomStream, DiffersBySeedAndByName) {
  EXPECT_NE(RandomStream(7, "a").uniform(0), RandomStream(8, "a").uniform(0));
  EXPECT_NE(RandomStream(7, "a").uniform(0), RandomStream(7, "b").uniform(0));
}

TEST(RandomStream, HasTheMomentsOfTheNormalDistribution) {
  const RandomStream stream(1, "noise");
  constexpr int n = 200'000;
  double moments[5] = {};
  double lagged = 0.0;
  double previous = 0.0;
  for (int i = 0; i < n; ++i) {
    const double x = stream.normal(static_cast<std::uint64_t>(i));
    for (int k = 1; k <= 4; ++k)
      moments[k] += std::pow(x, k) / n;
    lagged += x * previous / n;
    previous = x;
  }
  // Standard errors of the sample moments are sqrt(1, 2, 15, 96)/sqrt(n); four of them are allowed.
  const double se = 4.0 / std::sqrt(n);
  EXPECT_NEAR(moments[1], 0.0, se);
  EXPECT_NEAR(moments[2], 1.0, se * std::sqrt(2.0));
  EXPECT_NEAR(moments[3], 0.0, se * std::sqrt(15.0));
  EXPECT_NEAR(moments[4], 3.0, se * std::sqrt(96.0));
  EXPECT_NEAR(lagged, 0.0, se);
}

}  // namespace
}  // namespace windwright::base
