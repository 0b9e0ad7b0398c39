// SPDX-License-Identifier: Apache-2.0
// What a channel's newest seconds are said to mean.
#include "server/readings.h"

#include "base/json.h"
#include "bench/bench.h"
#include "server/served_bench.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::server {
namespace {

namespace json = boost::json;

template <typename Value>
std::vector<double> means(const Value& value, std::size_t count = 25) {
  std::vector<double> all;
  for (std::size_t i = 0; i < count; ++i)
    all.push_back(value(static_cast<double>(i)));
  return all;
}

// Neighbours that have nothing to do with each other, about 0, within 1.
double noise(double i) {
  return std::sin(12.9898 * i * i + 4.1414 * i);
}

TEST(Course, IsSteadyWhereTheDriftIsSmallBesideTheMean) {
  const auto course =
      course_of(means([](double i) { return 100.0 + 0.2 * noise(i); }), 0.32, 500.0);
  EXPECT_EQ(course.name, "steady");
  EXPECT_DOUBLE_EQ(course.seconds, 8.0);
}

TEST(Course, RisesOrFallsWhereMostOfTheSpreadIsOneWay) {
  const auto up = course_of(means([](double i) { return 100.0 + i + noise(i); }), 0.32, 500.0);
  EXPECT_EQ(up.name, "rising");
  EXPECT_NEAR(up.drift, 25.0, 2.0);
  // As a rotor runs up: fast, then slower and slower.
  const auto settling =
      course_of(means([](double i) { return 200.0 - 80.0 * std::exp(-i / 10.0); }), 0.32, 500.0);
  EXPECT_EQ(settling.name, "rising");
  EXPECT_EQ(course_of(means([](double i) { return 50.0 - i; }), 0.32, 500.0).name, "falling");
}

TEST(Course, IsRestlessWhereItSwings) {
  const auto swing = [](double i) { return 100.0 + 20.0 * std::sin(std::numbers::pi * i / 6.0); };
  EXPECT_EQ(course_of(means(swing), 0.32, 500.0).name, "restless");
}

TEST(Course, OfWhatIsNearNoughtTheSpanOfTheSensorDecides) {
  const auto little = [](double i) { return 0.01 * i / 25.0 + 0.01 * noise(i); };
  EXPECT_EQ(course_of(means(little), 0.32, 20.0).name, "steady");
  EXPECT_NE(course_of(means(little), 0.32, 0.1).name, "steady");
}

TEST(Course, IsUnknownOfTooLittle) {
  EXPECT_EQ(course_of(means(noise, 5), 0.32, 1.0).name, "unknown");
  EXPECT_EQ(course_of({}, 0.32, 1.0).name, "unknown");
}

bench::Interlock bound(const char* channel, double lowest, double highest) {
  bench::Interlock interlock{};
  interlock.name = std::string(channel) + " bound";
  interlock.kind = bench::Interlock::Kind::bound;
  interlock.channel = channel;
  interlock.lowest = lowest;
  interlock.highest = highest;
  return interlock;
}

TEST(NearestBound, IsTheOneWithTheLeastRoom) {
  bench::Bench bench{};
  bench.interlocks = {bound("dc_voltage_V", 5.0, 75.0), bound("dc_current_A", -INFINITY, 8.0)};
  bench.interlocks.push_back(bound("dc_voltage_V", -INFINITY, 1.0));
  bench.interlocks.back().with = "rotor_speed_rad_s";
  const auto high = nearest_bound(bench, "dc_voltage_V", 60.0);
  ASSERT_TRUE(high);
  EXPECT_TRUE(high->above);
  EXPECT_DOUBLE_EQ(high->bound, 75.0);
  EXPECT_DOUBLE_EQ(high->room, 15.0);
  const auto low = nearest_bound(bench, "dc_voltage_V", 4.0);
  ASSERT_TRUE(low);
  EXPECT_FALSE(low->above);
  EXPECT_DOUBLE_EQ(low->room, -1.0) << "beyond it";
  EXPECT_FALSE(nearest_bound(bench, "air_speed_m_s", 4.0));
}

class ServedReadings : public testing::Test {
 protected:
  ServedReadings() : bench_(fresh_folder()), token_(bench_.token(Role::observer)) {}
  json::object get(const std::string& path) {
    const Answer answer = bench_.ask("GET", "/benches/bench" + path, token_);
    EXPECT_EQ(answer.status, 200) << answer.body;
    return base::json_from_text(answer.body, "answer").as_object();
  }
  ServedBench bench_;
  std::string token_;
};

TEST_F(ServedReadings, WhatAChangeWillDoIsForetold) {
  const json::object change = get("/foreseen?actuator=fan_pct&value=85");
  EXPECT_EQ(change.at("now").at("code").as_string(), "no_wind") << "the fan is off";
  const json::object& then = change.at("then").as_object();
  // 85 % of 14 m/s, as the bench's description has it.
  EXPECT_NEAR(then.at("air_speed_m_s").as_double(), 0.85 * 14.0, 0.1);
  EXPECT_GT(then.at("dc_power_W").as_double(), 0.0);
  EXPECT_EQ(bench_.ask("GET", "/benches/bench/foreseen?actuator=fan_pct&value=101", token_).status,
            422);
  EXPECT_EQ(bench_.ask("GET", "/benches/bench/foreseen?actuator=fan_pct", token_).status, 422);
  EXPECT_EQ(bench_.ask("GET", "/benches/bench/foreseen?actuator=no&value=1", token_).status, 422);
}

TEST_F(ServedReadings, EveryActuatorAndChannelHasItsPlaceAndTextsTheirTranslation) {
  const json::object bench = get("");
  const auto named = [&](const char* list, const char* name) {
    for (const json::value& each : bench.at(list).as_array()) {
      if (each.at("name").as_string() == name) return each.as_object();
    }
    return json::object{};
  };
  EXPECT_EQ(named("actuators", "fan_pct").at("acts_at").as_string(), "wind");
  EXPECT_TRUE(named("actuators", "fan_pct").at("drives").as_bool());
  EXPECT_EQ(named("actuators", "rheostat_ohm").at("acts_at").as_string(), "dc_load");
  EXPECT_FALSE(named("actuators", "rheostat_ohm").at("drives").as_bool());
  EXPECT_EQ(named("channels", "vibration_m_s2").at("measured_at").as_string(), "rotor");
  EXPECT_EQ(named("channels", "dc_voltage_V").at("measured_at").as_string(), "dc_load");
  EXPECT_EQ(named("channels", "fuse_loop_V").at("measured_at").as_string(), "");
  EXPECT_EQ(bench.at("texts").at("es").at("rotor overspeed").as_string(), "rotor demasiado rápido");
  for (const json::value& caution : bench.at("cautions").as_array()) {
    EXPECT_FALSE(caution.at("id").as_string().empty());
    EXPECT_FALSE(caution.at("text").as_string().empty());
  }
}

}  // namespace
}  // namespace windwright::server
