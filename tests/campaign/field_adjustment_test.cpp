// SPDX-License-Identifier: Apache-2.0
#include "campaign/field_adjustment.h"

#include "base/errors.h"
#include "campaign/bench_in_test.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

namespace windwright::campaign {
namespace {

TEST(FieldAdjustment, ShowsRawAndCorrectedAndMakesBothPointsRight) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const std::size_t channel = bench.channel_index("air_speed_m_s");
  std::vector<LiveReading> seen;
  const metrology::Certificate before =
      metrology::certificate_from_file(bench.channels[channel].certificate);
  const metrology::Certificate after = adjust_in_field(
      bench, channel, device, {FieldReference{4.0, 0.01}, FieldReference{12.0, 0.01}},
      [&seen](const LiveReading& reading) { seen.push_back(reading); });
  ASSERT_EQ(seen.size(), 8U);
  for (const LiveReading& reading : seen) {
    EXPECT_DOUBLE_EQ(reading.value, metrology::value_of(before, reading.reading_V));
    EXPECT_NEAR(reading.value, reading.reference, 0.2);
  }
  EXPECT_DOUBLE_EQ(seen[0].adjusted, seen[0].value);
  // One point gives the offset alone.
  const double found = (seen[0].value + seen[1].value + seen[2].value) / 3.0;
  EXPECT_NEAR(seen[4].adjusted - seen[4].value, 4.0 - found, 1e-9);
  // The last two show the points again: right to the noise of a second.
  EXPECT_NEAR(seen[6].adjusted, 4.0, 0.02);
  EXPECT_NEAR(seen[7].adjusted, 12.0, 0.02);
  ASSERT_TRUE(after.adjustment);
  EXPECT_NEAR(metrology::value_of(after, after.adjustment->points[1].reading), 12.0, 1e-9);
  EXPECT_LT(metrology::estimate_of(after, seen[7].reading_V).u(),
            metrology::estimate_of(before, seen[7].reading_V).u());
}

TEST(FieldAdjustment, RefusesOnePointTwice) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  try {
    adjust_in_field(bench, bench.channel_index("air_speed_m_s"), device,
                    {FieldReference{4.0, 0.0}, FieldReference{4.0, 0.0}},
                    [](const LiveReading&) {});
    FAIL() << "no error";
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("both points of the field adjustment are the same"),
              std::string::npos)
        << error.what();
  }
}

}  // namespace
}  // namespace windwright::campaign
