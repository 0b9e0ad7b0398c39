// SPDX-License-Identifier: Apache-2.0
#include "exchange/count_grid.h"

#include "bench/bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <vector>

namespace windwright::exchange {
namespace {

std::vector<double> back(const CountGrid& grid) {
  std::vector<double> values;
  for (const auto count : grid.counts)
    values.push_back(grid.value(bench::volts(grid.converter, count)));
  return values;
}

TEST(CountGrid, FindsTheDecimalsThatWereWritten) {
  const std::vector<double> values{7.871, 7.982, 8.456, 15.214, -0.003};
  const CountGrid grid = count_grid(values);
  EXPECT_EQ(grid.counts_per_unit, 1000.0);
  EXPECT_EQ(grid.converter.bits, 14);  // 15217 steps
  EXPECT_EQ(grid.largest_difference, 0.0);
  EXPECT_EQ(back(grid), values);  // to the last bit
  const std::vector<double> coarse{0.0005, 0.0035, -0.0025, 250.0005};
  EXPECT_EQ(back(count_grid(coarse)), coarse);
}

// Values that came through a converter and a straight calibration lie on its steps, though their
// decimals never end.
TEST(CountGrid, FindsTheStepsOfAConverter) {
  const bench::Converter converter{.lower_V = -10.0, .upper_V = 10.0, .bits = 16};
  std::vector<double> values;
  for (int i = 0; i < 4000; ++i)
    values.push_back((bench::volts(converter, (i * 7919) % 65536) - 0.0123) / 0.09957222241184809);
  const CountGrid grid = count_grid(values);
  EXPECT_EQ(grid.converter.bits, 16);
  EXPECT_NEAR(grid.counts_per_unit, 65536.0 / 20.0 * 0.09957222241184809, 1e-9);
  EXPECT_LT(grid.largest_difference, 1e-12);
}

TEST(CountGrid, SaysHowFarItIsOffWhereThereAreNoSteps) {
  std::vector<double> values;
  for (int i = 0; i < 1000; ++i)
    values.push_back(std::sqrt(static_cast<double>(i)) * 3.0);
  const CountGrid grid = count_grid(values);
  EXPECT_EQ(grid.converter.bits, 31);
  EXPECT_GT(grid.largest_difference, 0.0);
  EXPECT_LE(grid.largest_difference, 0.51 / grid.counts_per_unit);
  EXPECT_LT(grid.largest_difference, 94.82 / std::ldexp(1.0, 31));  // half a step of the range
}

TEST(CountGrid, TakesOneValueAndTwo) {
  EXPECT_EQ(back(count_grid(std::vector<double>(5, 3.25))), std::vector<double>(5, 3.25));
  EXPECT_EQ(back(count_grid(std::vector<double>(5, -3.25))), std::vector<double>(5, -3.25));
  const std::vector<double> two{1e6, 1e6 + 0.1};
  EXPECT_EQ(back(count_grid(two)), two);
}

}  // namespace
}  // namespace windwright::exchange
