// SPDX-License-Identifier: Apache-2.0
#include "bench/output_counts.h"

#include "base/errors.h"
#include "base/settings.h"

#include <gtest/gtest.h>

#include <string>

namespace windwright::bench {
namespace {

OutputCounts read(const std::string& actuator, const std::string& device) {
  const auto root = base::Settings::from_text(
      "schema = 1\n[[actuator]]\n" + actuator + "\ndevice = { " + device + " }\n", "bench.toml");
  const auto table = root.tables("actuator").at(0);
  return read_output_counts(table, table.table("device"));
}

std::string refusal(const std::string& actuator, const std::string& device) {
  try {
    read(actuator, device);
  } catch (const base::BadInput& bad) {
    return bad.what();
  }
  return "none";
}

TEST(OutputCounts, AreTheNearestCount) {
  const auto fan = read("lowest = 0\nhighest = 100", "counts_per_unit = 40.95");
  EXPECT_EQ(count_for(fan, 0.0), 0);
  EXPECT_EQ(count_for(fan, 12.5), 512);  // 511.875
  EXPECT_EQ(count_for(fan, 62.5), 2559);
  EXPECT_EQ(count_for(fan, 100.0), 4095);
  const auto bipolar =
      read("lowest = -10\nhighest = 10", "counts_per_unit = 204.8, counts_at_zero = 2048");
  EXPECT_EQ(count_for(bipolar, -10.0), 0);
  EXPECT_EQ(count_for(bipolar, 5.0), 3072);
  const auto load = read("positions = [\"none\", \"rheostat\"]", "counts = [3, 12]");
  EXPECT_EQ(count_for(load, 0.0), 3);
  EXPECT_EQ(count_for(load, 1.0), 12);
}

TEST(OutputCounts, ARefusalNamesTheLine) {
  EXPECT_EQ(refusal("lowest = -10\nhighest = 10", "counts_per_unit = 204.8"),
            "bench.toml:5: lowest = -10 would be -2048 counts: counts of 0 or more between the "
            "actuator's limits");
  EXPECT_EQ(refusal("lowest = 0\nhighest = 10", "counts_per_unit = 0"),
            "bench.toml:5: counts_per_unit is 0: counts of the output for one of the actuator's "
            "unit");
  EXPECT_EQ(refusal("positions = [\"none\", \"rheostat\"]", "counts = [1, 2, 3]"),
            "bench.toml:4: 3 counts for 2 positions: one for each of the actuator's positions, in "
            "their order");
}

}  // namespace
}  // namespace windwright::bench
