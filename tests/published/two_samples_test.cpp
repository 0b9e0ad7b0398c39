// SPDX-License-Identifier: Apache-2.0
#include "metrology/two_samples.h"

#include "base/json.h"
#include "metrology/student.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

std::vector<double> numbers(const json::value& value) {
  std::vector<double> result;
  for (const json::value& entry : value.as_array())
    result.push_back(entry.to_number<double>());
  return result;
}

// Johnson, Miller and Freund's Probability and Statistics for Engineers, chapter 8 (pp. 253, 256):
// heat of coal from two mines (pooled), volumes (Welch); statistics recomputed by another program.
TEST(TwoSamples, MillerAndFreund) {
  const json::value set = base::json_from_file(
      SOURCE_FOLDER "/tests/published/data/miller_freund_two_sample_tests.json");
  const json::value& in = set.at("inputs");
  const json::value& check = set.at("crosscheck");
  const auto number = [](const json::value& value) { return value.to_number<double>(); };
  const TwoSampleTest pooled =
      pooled_test(numbers(in.at("coal_mine_1")), numbers(in.at("coal_mine_2")));
  EXPECT_NEAR(pooled.t, number(check.at("pooled_t")), 5e-7);
  EXPECT_EQ(pooled.dof, number(check.at("pooled_dof")));
  EXPECT_NEAR(pooled.p, number(check.at("pooled_p")), 5e-8);
  const TwoSampleTest welch = welch_test(numbers(in.at("volume_1")), numbers(in.at("volume_2")));
  EXPECT_NEAR(welch.t, number(check.at("welch_t")), 5e-7);
  EXPECT_NEAR(welch.dof, number(check.at("welch_dof")), 5e-5);
  EXPECT_NEAR(welch.p, number(check.at("welch_p")), 5e-11);
  // The book's critical values.
  const json::value& printed = set.at("expected");
  EXPECT_NEAR(student_factor(0.99, pooled.dof),
              number(printed.at("pooled_t_critical_two_sided_1pct_9_dof")), 0.0005);
  EXPECT_NEAR(student_factor(0.95, 11.0),
              number(printed.at("welch_t_critical_two_sided_5pct_11_dof")), 0.0005);
}

// The limit of t for a variance that goes to 0: no source but the definition.
TEST(TwoSamples, DifferenceWithoutScatterIsNoChance) {
  const std::vector<double> low{0.1, 0.1, 0.1};
  const std::vector<double> high{0.2, 0.2, 0.2, 0.2};
  for (const auto& test : {pooled_test, welch_test}) {
    EXPECT_EQ(test(high, low).p, 0.0);
    EXPECT_GT(test(high, low).t, 1e300);
    EXPECT_EQ(test(low, std::vector<double>(7, 0.1)).p, 1.0);
  }
}

}  // namespace
}  // namespace windwright::metrology
