// SPDX-License-Identifier: Apache-2.0
#include "base/units.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <string>
#include <thread>
#include <vector>

namespace windwright::base {
namespace {

std::string complaint(const char* unit, const char* wanted) {
  try {
    require_unit(unit, wanted, "r.csv:2");
  } catch (const BadInput& error) {
    return error.what();
  }
  return "";
}

TEST(Units, TakesTheLongestSuffix) {
  EXPECT_EQ(unit_of_name("rotor_speed_rad_s"), "rad s-1");
  EXPECT_EQ(unit_of_name("air_speed_m_s"), "m s-1");
  EXPECT_EQ(unit_of_name("tip_speed_ratio"), "1");
}

TEST(Units, AcceptsAnotherSpellingOfTheSameUnit) {
  EXPECT_EQ(complaint("m/s", "m s-1"), "");
}

TEST(Units, GivesTheFactorOfAnotherScale) {
  EXPECT_EQ(
      complaint("km h-1", "m s-1"),
      "r.csv:2: 'km h-1' is another scale: values in \"m s-1\": multiply by 0.2777777777777778");
}

TEST(Units, RefusesAnotherQuantityAndWhatIsNoUnit) {
  EXPECT_EQ(complaint("V", "m s-1"), "r.csv:2: 'V' measures another quantity: \"m s-1\"");
  EXPECT_EQ(complaint("furlongs per bounce", "m s-1"),
            "r.csv:2: 'furlongs per bounce' is not a unit: \"m s-1\"");
}

// As the threads of a server do.
TEST(Units, AreReadByManyThreadsAtOnce) {
  std::vector<std::string> found(8);
  {
    std::vector<std::jthread> threads;
    for (std::string& last : found) {
      threads.emplace_back([&last] {
        for (int i = 0; i < 500; ++i)
          last = complaint("m/s", "m s-1") + complaint("furlongs per bounce", "m s-1");
      });
    }
  }
  for (const std::string& last : found)
    EXPECT_EQ(last, "r.csv:2: 'furlongs per bounce' is not a unit: \"m s-1\"");
}

TEST(Units, NobodySaysOne) {
  EXPECT_EQ("0.3" + spoken_unit("1"), "0.3");
  EXPECT_EQ("0.3" + spoken_unit("m s-1"), "0.3 m s-1");
  EXPECT_EQ(with_unit("known", "1"), "known");
  EXPECT_EQ(with_unit("known", "m s-1"), "known, m s-1");
}

}  // namespace
}  // namespace windwright::base
