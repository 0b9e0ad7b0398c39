// SPDX-License-Identifier: Apache-2.0
#include "physics/gust.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace windwright::physics {
namespace {

TEST(Gust, PeaksAtItsAmplitudeHalfWayAndEndsAtNothing) {
  for (const GustShape shape : {GustShape::one_minus_cosine, GustShape::extreme_operating}) {
    const Gust gust{.shape = shape, .duration_s = 10.5, .amplitude_m_s = 4.0};
    EXPECT_NEAR(gust_m_s(gust, 5.25), 4.0, 1e-12);
    EXPECT_EQ(gust_m_s(gust, -0.1), 0.0);
    EXPECT_EQ(gust_m_s(gust, 10.6), 0.0);
    EXPECT_NEAR(gust_m_s(gust, 1e-6), 0.0, 1e-9);
    EXPECT_NEAR(gust_m_s(gust, 10.5 - 1e-6), 0.0, 1e-9);
    EXPECT_NEAR(gust_m_s(gust, 2.0), gust_m_s(gust, 8.5), 1e-12);
  }
}

// IEC 61400-1:2005 (3rd ed.), 6.3.2.2: u = U - 0.37 V_gust sin(3 pi t / T) (1 - cos(2 pi t / T)),
// T = 10.5 s (from memory). At t = T/6 the sine is 1 and the cosine 1/2.
TEST(Gust, IsTheExtremeOperatingGustOfTheStandard) {
  const double standard_gust_m_s = 6.0;
  const Gust gust{.shape = GustShape::extreme_operating,
                  .duration_s = 10.5,
                  .amplitude_m_s = 0.74 * standard_gust_m_s};
  EXPECT_NEAR(gust_m_s(gust, 10.5 / 6.0), -0.37 * standard_gust_m_s * 0.5, 1e-12);
  for (double t = 0.0; t <= 10.5; t += 0.37) {
    EXPECT_NEAR(gust_m_s(gust, t),
                -0.37 * standard_gust_m_s * std::sin(3.0 * M_PI * t / 10.5) *
                    (1.0 - std::cos(2.0 * M_PI * t / 10.5)),
                1e-12);
  }
}

}  // namespace
}  // namespace windwright::physics
