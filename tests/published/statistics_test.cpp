// SPDX-License-Identifier: Apache-2.0
#include "signal/statistics.h"

#include "base/json.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

namespace windwright::signal {
namespace {

namespace json = boost::json;

// NIST/ITL Statistical Reference Datasets, Univariate Summary Statistics (US Government work).
// NumAcc3 has its scatter in the eighth digit of a double, which limits what can be reached; NIST
// asks no more than the data hold.
void expect_certified(const std::string& name, double tolerance) {
  const json::value set =
      base::json_from_file(SOURCE_FOLDER "/tests/published/data/nist_strd_uni_" + name + ".json");
  std::vector<double> samples;
  for (const json::value& entry : set.at_pointer("/data/y").as_array()) {
    samples.push_back(entry.to_number<double>());
  }
  const auto certified = [&set](const char* key) {
    return set.at("certified").at(key).to_number<double>();
  };
  EXPECT_NEAR(mean(samples) / certified("mean"), 1.0, 1e-14) << name;
  EXPECT_NEAR(std::sqrt(variance(samples)) / certified("standard_deviation_n_minus_1"), 1.0,
              tolerance)
      << name;
  EXPECT_NEAR(autocorrelation(samples, 1) / certified("lag1_autocorrelation"), 1.0, tolerance)
      << name;
}

TEST(PublishedStatistics, Lew) {
  expect_certified("lew", 1e-9);
}
TEST(PublishedStatistics, Lottery) {
  expect_certified("lottery", 1e-9);
}
TEST(PublishedStatistics, PiDigits) {
  expect_certified("pidigits", 1e-9);
}
TEST(PublishedStatistics, NumAcc1) {
  expect_certified("numacc1", 1e-9);
}
TEST(PublishedStatistics, NumAcc2) {
  expect_certified("numacc2", 1e-9);
}
TEST(PublishedStatistics, NumAcc3) {
  expect_certified("numacc3", 1e-7);
}

// The set NumAcc4, by its definition: 10000000.2, then 10000000.1 and 10000000.3 by turns, 1001
// values; mean 10000000.2, standard deviation 0.1, lag-1 autocorrelation -0.999. A double holds
// these to 1e-9, which is 1e-8 of the scatter: no more digits can be asked for.
TEST(PublishedStatistics, NumAcc4) {
  std::vector<double> samples{10000000.2};
  for (int pair = 0; pair < 500; ++pair) {
    samples.push_back(10000000.1);
    samples.push_back(10000000.3);
  }
  const double limit = std::nextafter(10000000.2, 2e7) - 10000000.2;
  EXPECT_NEAR(mean(samples) / 10000000.2, 1.0, 1e-14);
  EXPECT_NEAR(std::sqrt(variance(samples)) / 0.1, 1.0, 0.5 * limit / 0.1);
  EXPECT_NEAR(autocorrelation(samples, 1), -0.999, limit / 0.1);
}

// JCGM 100:2008, 4.2.3 and H.2, Table H.2: mean and u of five readings of V.
TEST(PublishedStatistics, MeanOfFiveIndependentReadings) {
  const CorrelatedMean got = mean_of_independent(std::vector{5.007, 4.994, 5.005, 4.990, 4.999});
  EXPECT_NEAR(got.mean, 4.9990, 0.00005);
  EXPECT_NEAR(got.u, 0.0032, 0.00005);
  EXPECT_EQ(got.dof, 4.0);
}

}  // namespace
}  // namespace windwright::signal
