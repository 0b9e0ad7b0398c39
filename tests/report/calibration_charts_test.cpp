// SPDX-License-Identifier: Apache-2.0
#include "report/calibration_charts.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cstddef>
#include <string>
#include <string_view>

namespace windwright::report {
namespace {

std::size_t count(std::string_view text, std::string_view wanted) {
  std::size_t found = 0;
  for (auto at = text.find(wanted); at != std::string_view::npos; at = text.find(wanted, at + 1))
    ++found;
  return found;
}

constexpr std::string_view blue = "#0072b2";
constexpr std::string_view orange = "#d55e00";

TEST(CalibrationCharts, ShowEveryReadingByItsDirection) {
  metrology::ReadingsFile file{.readings = {},
                               .repeat = {},
                               .reference_unit = "m s-1",
                               .reading_unit = "V",
                               .where = "test"};
  for (int i = 0; i < 7; ++i) {
    file.readings.reference.push_back(i % 4);
    file.readings.reading.push_back(0.5 + 0.4 * (i % 4) + 0.001 * (i % 3));
    file.direction.push_back(i < 4 ? metrology::Direction::up : metrology::Direction::down);
  }
  metrology::Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  const metrology::Certificate certificate = metrology::calibrate(blank, file.readings, "test");
  const std::string drawn =
      residual_chart(certificate, file, metrology::diagnose(certificate, file));
  EXPECT_EQ(drawn.find("<svg xmlns=\"http://www.w3.org/2000/svg\""), 0U);
  // One more of each stands in the legend.
  EXPECT_EQ(count(drawn, blue), 4U + 1U);
  EXPECT_EQ(count(drawn, orange), 3U + 1U);
}

TEST(CalibrationCharts, RingWhatIsOutOfControl) {
  metrology::CheckMeasurements checks{.date = {}, .value = {}, .unit = "V"};
  for (int i = 0; i < 8; ++i) {
    checks.date.push_back(base::UtcTime() + std::chrono::hours(i));
    checks.value.push_back(i == 6 ? 1.0 : 0.01 * (i % 2));
  }
  const metrology::ControlChart chart = metrology::control_chart(
      checks, {.baseline = 0, .centre = 0.0, .spread = 0.1, .smoothing = 0.2}, "test");
  std::size_t marked = 0;
  for (const metrology::ChartPoint& point : chart.points)
    marked += (point.is_out ? 1U : 0U) + (point.average_is_out ? 1U : 0U);
  EXPECT_GE(marked, 1U);
  EXPECT_EQ(count(control_chart_drawing(chart, "V"), orange), marked);
}

}  // namespace
}  // namespace windwright::report
