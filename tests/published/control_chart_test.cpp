// SPDX-License-Identifier: Apache-2.0
#include "metrology/control_chart.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cstddef>
#include <vector>

namespace windwright::metrology {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4, example (from memory): EWMA of 20
// values, target 50, s 2.0539, smoothing 0.3; printed to two decimals.
TEST(PublishedControlChart, MovingAverageOfTheHandbook) {
  CheckMeasurements measurements{.date = {}, .value = {}, .unit = "1"};
  measurements.value = {52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                        49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  for (std::size_t i = 0; i < measurements.value.size(); ++i)
    measurements.date.push_back(base::UtcTime() + std::chrono::hours(24 * i));
  const ControlChart chart = control_chart(
      measurements, {.baseline = 0, .centre = 50.0, .spread = 2.0539, .smoothing = 0.3}, "test");
  const std::vector<double> printed{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75,
                                    49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
                                    49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
  ASSERT_EQ(chart.points.size(), printed.size());
  for (std::size_t i = 0; i < printed.size(); ++i)
    EXPECT_NEAR(chart.points[i].average, printed[i], 0.0051) << i;
  EXPECT_NEAR(chart.centre + chart.average_limit, 52.5884, 0.00015);
  EXPECT_NEAR(chart.centre - chart.average_limit, 47.4115, 0.00015);
  EXPECT_TRUE(chart.in_control);
  EXPECT_EQ(chart.out, 0U);
}

}  // namespace
}  // namespace windwright::metrology
