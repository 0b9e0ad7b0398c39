// SPDX-License-Identifier: Apache-2.0
#include "twin/sensor.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <vector>

namespace windwright::twin {
namespace {

using Input = Sensor::Input;

// An ideal sensor of 0.5 V per m/s on a fine converter; each test adds what it is about.
bench::Channel ideal_channel() {
  bench::Channel channel{};
  channel.name = "air_speed_m_s";
  channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = 24};
  channel.calibration.references = {2.0, 6.0, 10.0};
  channel.check_standard = bench::CheckStandard{.value = 8.0, .u = 0.0};
  channel.simulated =
      bench::SimulatedSensor{.offset_V = 0.1,
                             .sensitivity_V = 0.5,
                             .u_offset_V = 0.0,
                             .u_sensitivity_relative = 0.0,
                             .nonlinearity_relative = 0.0,
                             .noise_V = 0.0,
                             .bandwidth_Hz = std::numeric_limits<double>::infinity()};
  return channel;
}

double reading_V(const bench::Channel& channel, Sensor& sensor, double value,
                 std::int64_t sample = 0) {
  return bench::volts(channel.converter, sensor.counts(Input::process, value, sample));
}

constexpr double step_V = 10.0 / (1 << 24);

TEST(Sensor, GivesVoltsByOffsetAndSensitivity) {
  const bench::Channel channel = ideal_channel();
  Sensor sensor(channel, 1, 1000.0);
  EXPECT_NEAR(reading_V(channel, sensor, 8.0), 0.1 + 0.5 * 8.0, step_V);
}

TEST(Sensor, ClipsAtTheEndsOfTheConverter) {
  bench::Channel channel = ideal_channel();
  channel.converter.bits = 12;
  Sensor sensor(channel, 1, 1000.0);
  EXPECT_EQ(sensor.counts(Input::process, -50.0, 0), 0);
  EXPECT_EQ(sensor.counts(Input::process, 50.0, 1), 4095);
}

TEST(Sensor, RoundsToTheStepThatHoldsTheVoltage) {
  bench::Channel channel = ideal_channel();
  channel.converter = {.lower_V = -5.0, .upper_V = 5.0, .bits = 8};
  channel.simulated->offset_V = 0.0;
  channel.simulated->sensitivity_V = 1.0;
  Sensor sensor(channel, 1, 1000.0);
  for (std::int64_t i = 0; i < 100; ++i) {
    const double value = -4.9 + 0.098 * static_cast<double>(i);
    const double volts = reading_V(channel, sensor, value, i);
    EXPECT_LE(std::abs(volts - value), 0.5 * 10.0 / 256.0 + 1e-12);
  }
}

// A ramp of slope s through a first-order lag tau: s (t - tau (1 - exp(-t / tau))). Any textbook of
// control; from memory.
TEST(Sensor, LagsARampExactly) {
  bench::Channel channel = ideal_channel();
  channel.simulated->offset_V = 0.0;
  channel.simulated->bandwidth_Hz = 40.0;
  const double tau_s = 1.0 / (2.0 * std::numbers::pi * 40.0);
  Sensor sensor(channel, 1, 1000.0);
  for (std::int64_t i = 0; i < 60; ++i) {
    const double t = 1e-3 * static_cast<double>(i);
    const double expected_V = 0.5 * 100.0 * (t - tau_s * (1.0 - std::exp(-t / tau_s)));
    EXPECT_NEAR(reading_V(channel, sensor, 100.0 * t, i), expected_V, step_V);
  }
}

TEST(Sensor, HalvesTheAmplitudeSquaredAtItsBandwidth) {
  bench::Channel channel = ideal_channel();
  channel.simulated->bandwidth_Hz = 5.0;
  Sensor sensor(channel, 1, 1000.0);
  double largest_V = 0.0;
  for (std::int64_t i = 0; i < 2000; ++i) {
    const double value =
        8.0 + 4.0 * std::sin(2.0 * std::numbers::pi * 5e-3 * static_cast<double>(i));
    const double volts = reading_V(channel, sensor, value, i);
    if (i > 1000) largest_V = std::max(largest_V, volts - (0.1 + 0.5 * 8.0));
  }
  // 1/sqrt2 by the definition of bandwidth; the samples catch the crest to 1e-4.
  EXPECT_NEAR(largest_V / (0.5 * 4.0), 1.0 / std::numbers::sqrt2, 2e-4);
}

TEST(Sensor, BowsBetweenTheEndsOfTheCalibration) {
  bench::Channel channel = ideal_channel();
  channel.simulated->nonlinearity_relative = 0.01;
  Sensor sensor(channel, 5, 1000.0);
  const auto bow_V = [&](double value) {
    return reading_V(channel, sensor, value) - (0.1 + 0.5 * value);
  };
  EXPECT_NEAR(bow_V(2.0), 0.0, step_V);
  EXPECT_NEAR(bow_V(10.0), 0.0, step_V);
  EXPECT_GT(std::abs(bow_V(6.0)), 1e-3);
  EXPECT_NEAR(bow_V(4.0) / bow_V(6.0), 0.75, 1e-3);
}

struct Spread {
  double mean;
  double deviation;
};
template <typename Draw>
Spread spread_over_seeds(Draw draw) {
  constexpr int seeds = 2000;
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < seeds; ++i) {
    const double value = draw(static_cast<std::uint64_t>(i));
    sum += value;
    squares += value * value;
  }
  return {.mean = sum / seeds, .deviation = std::sqrt(squares / seeds)};
}
// Four standard deviations for 2000 seeds.
void expect_spread(const Spread& spread, double u) {
  EXPECT_NEAR(spread.mean / u, 0.0, 0.09);
  EXPECT_NEAR(spread.deviation / u, 1.0, 0.064);
}

TEST(Sensor, DriftShowsInUseAndInChecksButNotOnTheDayOfCalibration) {
  bench::Channel channel = ideal_channel();
  channel.u_drift = 0.02;
  expect_spread(spread_over_seeds([&](std::uint64_t seed) {
                  return Sensor(channel, seed, 1e3).true_input(Input::process, 7.0) - 7.0;
                }),
                0.02);
  for (std::uint64_t seed = 0; seed < 5; ++seed) {
    const Sensor sensor(channel, seed, 1e3);
    EXPECT_EQ(sensor.true_input(Input::reference, 6.0), 6.0);
    EXPECT_EQ(sensor.true_input(Input::check, 8.0) - 8.0,
              sensor.true_input(Input::process, 8.0) - 8.0);
  }
}

TEST(Sensor, StandardsAreOffAsFarAsStatedAndTheSameAtEveryUse) {
  bench::Channel channel = ideal_channel();
  channel.calibration.u_standard = 0.03;
  channel.calibration.u_standard_relative = 0.004;
  channel.check_standard->u = 0.05;
  expect_spread(spread_over_seeds([&](std::uint64_t seed) {
                  return Sensor(channel, seed, 1e3).true_input(Input::reference, 10.0) - 10.0;
                }),
                std::hypot(0.03, 0.04));
  expect_spread(spread_over_seeds([&](std::uint64_t seed) {
                  return Sensor(channel, seed, 1e3).true_input(Input::check, 8.0) - 8.0;
                }),
                0.05);
  const Sensor sensor(channel, 7, 1e3);
  EXPECT_EQ(sensor.true_input(Input::reference, 6.0), sensor.true_input(Input::reference, 6.0));
  EXPECT_EQ(sensor.kind_of_known_input(6.0), Input::reference);
  EXPECT_EQ(sensor.kind_of_known_input(8.0), Input::check);
}

TEST(Sensor, TransferIsDrawnFromTheStatedSpreads) {
  bench::Channel channel = ideal_channel();
  channel.simulated->u_offset_V = 0.02;
  expect_spread(spread_over_seeds([&](std::uint64_t seed) {
                  Sensor sensor(channel, seed, 1e3);
                  return reading_V(channel, sensor, 8.0) - 4.1;
                }),
                0.02);
  channel.simulated->u_offset_V = 0.0;
  channel.simulated->u_sensitivity_relative = 0.01;
  expect_spread(spread_over_seeds([&](std::uint64_t seed) {
                  Sensor sensor(channel, seed, 1e3);
                  return reading_V(channel, sensor, 8.0) - 4.1;
                }),
                0.04);
}

TEST(Sensor, NoiseIsAsLargeAsStatedAndOtherInCalibrationThanInUse) {
  bench::Channel channel = ideal_channel();
  channel.simulated->noise_V = 0.01;
  Sensor sensor(channel, 3, 1e3);
  double squares = 0.0;
  double product = 0.0;
  constexpr int samples = 4000;
  for (std::int64_t i = 0; i < samples; ++i) {
    const double use = bench::volts(channel.converter, sensor.counts(Input::process, 6.0, i)) - 3.1;
    const double calibration =
        bench::volts(channel.converter, sensor.counts(Input::reference, 6.0, i)) - 3.1;
    squares += use * use;
    product += use * calibration;
  }
  EXPECT_NEAR(squares / samples / 1e-4, 1.0, 4.0 * std::sqrt(2.0 / samples));
  EXPECT_NEAR(product / samples / 1e-4, 0.0, 4.0 / std::sqrt(samples));
}

TEST(Sensor, NeedsItsDescription) {
  bench::Channel channel = ideal_channel();
  channel.simulated.reset();
  EXPECT_THROW(Sensor(channel, 1, 1e3), base::BadInput);
}

}  // namespace
}  // namespace windwright::twin
