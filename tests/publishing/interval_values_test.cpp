// SPDX-License-Identifier: Apache-2.0
#include "publishing/interval_values.h"

#include "bench/bench.h"
#include "metrology/certificate.h"
#include "publishing/bench_that_publishes.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <vector>

namespace windwright::publishing {
namespace {

namespace json = boost::json;

std::map<std::string, json::object> by_topic(const IntervalValues& values) {
  std::map<std::string, json::object> all;
  for (const auto& [topic, payload] : values.payloads(0.25))
    all[topic] = payload;
  return all;
}

TEST(IntervalValues, AreTheMeanOfAllSamplesWithTheCertificatesUncertainty) {
  const bench::Bench bench = bench_that_publishes(1883);
  const metrology::Certificate tenfold = tenfold_certificate("dc_voltage_V");
  IntervalValues values(bench, {tenfold, tenfold_certificate("dc_current_A"), std::nullopt});
  // 1 to 4 V, blocks of different length: a mean of means would be another one.
  values.take(block_of({1.0, 1.0, 1.0, 4.0, 4.0}, 0));
  values.take(block_of({2.0}, 5));
  auto told = by_topic(values);
  const double count_V = 10.0 / 65536.0;
  const json::object voltage = told.at("channel/dc_voltage_V");
  const double mean = 10.0 * (3.0 * 1.0 + 2.0 * 4.0 + 2.0) / 6.0;
  EXPECT_NEAR(voltage.at("value").as_double(), mean, 10.0 * count_V);
  EXPECT_EQ(voltage.at("samples").as_int64(), 6);
  EXPECT_NEAR(voltage.at("lowest").as_double(), 10.0, 10.0 * count_V);
  EXPECT_NEAR(voltage.at("highest").as_double(), 40.0, 10.0 * count_V);
  double squares = 0.0;
  for (const double value : {10.0, 10.0, 10.0, 40.0, 40.0, 20.0})
    squares += (value - mean) * (value - mean);
  EXPECT_NEAR(voltage.at("deviation").as_double(), std::sqrt(squares / 6.0), 20.0 * count_V);
  EXPECT_EQ(voltage.at("of").as_string(), "mean");
  EXPECT_EQ(voltage.at("unit").as_string(), "V");
  EXPECT_EQ(voltage.at("time").as_string(), "1970-01-01T00:00:00.060Z");
  EXPECT_EQ(voltage.at("age_s").as_double(), 0.25);
  const double u = metrology::estimate_of(tenfold, metrology::reading_of(tenfold, mean)).u();
  EXPECT_NEAR(voltage.at("u").as_double() / u, 1.0, 1e-3);
  // u of a product whose factors know nothing of each other.
  const json::object power = told.at("channel/dc_power_W");
  EXPECT_NEAR(power.at("value").as_double(), (3.0 * 100.0 + 2.0 * 1600.0 + 400.0) / 6.0, 0.5);
  EXPECT_NEAR(power.at("u").as_double(), std::hypot(mean * u, mean * u), 1e-3 * mean * u);
  const json::object bare = told.at("channel/rotor_speed_rad_s");
  EXPECT_FALSE(bare.at("calibrated").as_bool());
  EXPECT_TRUE(bare.at("u").is_null());
  EXPECT_EQ(bare.at("unit").as_string(), "V");

  values.begin_anew();
  EXPECT_EQ(values.samples(), 0);
  values.take(block_of({3.0}, 6));
  EXPECT_NEAR(by_topic(values).at("channel/dc_voltage_V").at("value").as_double(), 30.0,
              10.0 * count_V);
}

TEST(IntervalValues, OfAnAlternatingChannelTheyAreRootMeanSquares) {
  bench::Bench bench = bench_that_publishes(1883);
  bench.channels[0].name = "ac_voltage_V";
  bench.channels[1].name = "ac_current_A";
  const metrology::Certificate tenfold = tenfold_certificate("ac");
  IntervalValues values(bench, {tenfold, tenfold, std::nullopt});
  values.take(block_of({3.0, 4.0}, 0));
  const auto told = by_topic(values);
  const json::object voltage = told.at("channel/ac_voltage_V");
  EXPECT_EQ(voltage.at("of").as_string(), "rms");
  EXPECT_NEAR(voltage.at("value").as_double(), 10.0 * std::sqrt(12.5), 0.01);
  EXPECT_TRUE(voltage.at("u").is_null());
  EXPECT_EQ(told.count("channel/ac_power_W"), 0U);
  EXPECT_TRUE(told.at("power/ac_power_W").at("active_power_W").is_null()) << "no whole window";
}

}  // namespace
}  // namespace windwright::publishing
