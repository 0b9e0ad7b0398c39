// SPDX-License-Identifier: Apache-2.0
#include "signal/ac_power.h"

#include "base/errors.h"
#include "base/random.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <functional>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::signal {
namespace {

constexpr double pi = std::numbers::pi;

std::vector<double> sampled(const std::function<double(double)>& of_s, double rate_hz,
                            double seconds, double from_s = 0.0) {
  std::vector<double> samples(static_cast<std::size_t>(std::lround(rate_hz * seconds)));
  for (std::size_t n = 0; n < samples.size(); ++n)
    samples[n] = of_s(from_s + static_cast<double>(n) / rate_hz);
  return samples;
}

std::function<double(double)> sine(double rms, double frequency_Hz, double phase_deg = 0.0) {
  return [=](double t_s) {
    return std::numbers::sqrt2 * rms *
           std::sin(2.0 * pi * frequency_Hz * t_s + phase_deg * pi / 180.0);
  };
}

PairPower power_of(const std::vector<double>& v, const std::vector<double>& i, double rate_hz) {
  return pair_power(std::array{PairStretch{v, i}}, rate_hz, {}, "samples.csv");
}

std::string complaint(const std::vector<double>& v, double rate_hz) {
  try {
    power_of(v, v, rate_hz);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return {};
}

TEST(PairPower, SaysWhatIsDirect) {
  const double rate_hz = 10000.0;
  const auto v =
      sampled([](double t) { return 24.0 + 0.3 * std::sin(600.0 * pi * t); }, rate_hz, 1.0);
  const auto i =
      sampled([](double t) { return 2.0 + 0.5 * std::sin(600.0 * pi * t); }, rate_hz, 1.0);
  const PairPower got = power_of(v, i, rate_hz);
  EXPECT_FALSE(got.alternating);
  EXPECT_NEAR(got.voltage.mean, 24.0, 1e-9);
  EXPECT_NEAR(got.active_power_W, 48.0 + 0.5 * 0.3 * 0.5, 1e-9);
  EXPECT_NEAR(got.voltage.ripple_rms, 0.3 / std::numbers::sqrt2, 1e-9);
  EXPECT_NEAR(got.voltage.ripple_factor.value(), 0.3 / std::numbers::sqrt2 / 24.0, 1e-9);
  EXPECT_NEAR(got.voltage.largest - got.voltage.least, 0.6, 1e-4);
}

TEST(PairPower, SilentChannelsHavePowerZeroAndNoFactors) {
  const std::vector<double> nothing(3000, 0.0);
  const PairPower direct = power_of(nothing, nothing, 10000.0);
  EXPECT_FALSE(direct.alternating);
  EXPECT_FALSE(direct.voltage.crest_factor);
  EXPECT_FALSE(direct.voltage.ripple_factor);
  const auto v = sampled(sine(230.0, 50.0), 10000.0, 0.3);
  const PairPower no_load = power_of(v, nothing, 10000.0);
  ASSERT_TRUE(no_load.alternating);
  EXPECT_EQ(no_load.active_power_W, 0.0);
  EXPECT_EQ(no_load.alternating->terms.power_factor, 0.0);
  EXPECT_FALSE(no_load.alternating->current_distortion);
}

// The second stretch begins at another phase: a window across both would see neither.
TEST(PairPower, BridgesNoGap) {
  const double rate_hz = 20000.0;
  const auto v1 = sampled(sine(230.0, 50.3), rate_hz, 0.45);
  const auto i1 = sampled(sine(2.0, 50.3, -60.0), rate_hz, 0.45);
  const auto v2 = sampled(sine(230.0, 50.3), rate_hz, 0.5, 1.2345);
  const auto i2 = sampled(sine(2.0, 50.3, -60.0), rate_hz, 0.5, 1.2345);
  const PairPower got =
      pair_power(std::array{PairStretch{v1, i1}, PairStretch{v2, i2}}, rate_hz, {}, "two");
  ASSERT_TRUE(got.alternating);
  EXPECT_EQ(got.alternating->windows, 4U);
  EXPECT_NEAR(got.active_power_W, 230.0, 230e-8);
  EXPECT_NEAR(got.alternating->voltage_distortion->thd, 0.0, 1e-8);
  EXPECT_NEAR(got.alternating->parts.fundamental_reactive_power_var, 460.0 * std::sin(pi / 3.0),
              1e-5);
}

// Half the time 1 A, half 3 A: the mean square counts, not the square of the mean.
TEST(PairPower, AveragesWindowsAsSquares) {
  const double rate_hz = 10000.0;
  const auto v = sampled(sine(100.0, 50.0), rate_hz, 0.8);
  auto i = sampled(sine(1.0, 50.0), rate_hz, 0.8);
  for (std::size_t n = 4000 + 64; n < i.size(); ++n)
    i[n] *= 3.0;
  const PairPower got = power_of(v, i, rate_hz);
  ASSERT_TRUE(got.alternating);
  ASSERT_EQ(got.alternating->windows, 3U);
  EXPECT_NEAR(got.current.rms, std::sqrt((1.0 + 1.0 + 9.0) / 3.0), 1e-2);
  EXPECT_NEAR(got.alternating->harmonics[1].current_A, std::sqrt((1.0 + 1.0 + 9.0) / 3.0), 1e-2);
}

TEST(PairPower, FollowsAFrequencyThatDrifts) {
  const double rate_hz = 20000.0;
  // 50 to 51 Hz within 2 s.
  const auto phase = [](double t) { return 2.0 * pi * (50.0 * t + 0.25 * t * t); };
  const auto v = sampled([&](double t) { return std::sin(phase(t)); }, rate_hz, 2.0);
  const PairPower got = power_of(v, v, rate_hz);
  ASSERT_TRUE(got.alternating);
  EXPECT_NEAR(got.alternating->lowest_frequency_Hz, 50.05, 0.01);
  EXPECT_NEAR(got.alternating->highest_frequency_Hz, 50.90, 0.06);
  EXPECT_NEAR(got.active_power_W, 0.5, 2e-5);
  EXPECT_LT(got.alternating->voltage_distortion->thd, 1e-4);
}

TEST(PairPower, FindsTheFundamentalBelowALargerHarmonic) {
  const auto v =
      sampled([](double t) { return std::sin(100.0 * pi * t) + 1.4 * std::sin(300.0 * pi * t); },
              10000.0, 1.0);
  const PairPower got = power_of(v, v, 10000.0);
  ASSERT_TRUE(got.alternating);
  EXPECT_NEAR(got.alternating->frequency_Hz, 50.0, 1e-6);
  EXPECT_NEAR(got.alternating->voltage_distortion->thd, 1.4, 1e-8);
}

TEST(PairPower, SameNumbersThinnedOutOrNot) {
  const double rate_hz = 200000.0;
  const auto wave = [](double t) {
    return std::sin(100.0 * pi * t) + 0.2 * std::sin(500.0 * pi * t + 1.0) +
           0.01 * std::sin(5000.0 * pi * t);
  };
  const auto longer = sampled(wave, rate_hz, 0.7);
  const auto shorter = sampled(wave, rate_hz, 0.201);  // one window, without thinning
  const PairPower a = power_of(longer, longer, rate_hz);
  const PairPower b = power_of(shorter, shorter, rate_hz);
  ASSERT_TRUE(a.alternating && b.alternating);
  for (std::size_t order = 0; order <= 50; ++order) {
    EXPECT_NEAR(a.alternating->harmonics[order].voltage_V,
                b.alternating->harmonics[order].voltage_V, 1e-9)
        << order;
  }
}

TEST(PairPower, RefusesWhatItCannotAnalyse) {
  EXPECT_EQ(complaint({}, 1000.0), "samples.csv: has no samples: at least one");
  EXPECT_EQ(complaint(sampled(sine(230.0, 50.0), 10000.0, 0.15), 10000.0),
            "samples.csv: 0.15 s without a gap are 7.5 cycles of 50 Hz: 10 cycles, 0.2 s, or more");
  const base::RandomStream random(1, "noise");
  std::vector<double> noise(20000);
  for (std::size_t n = 0; n < noise.size(); ++n)
    noise[n] = random.normal(n);
  EXPECT_EQ(
      complaint(noise, 10000.0),
      "samples.csv: no fundamental from 10 to 400 Hz found in the voltage: a gapless stretch of "
      "ten cycles or more of a voltage whose strongest line holds 5 % of its alternating power");
  const auto slower =
      sampled([](double t) { return std::sin(2.0 * pi * (50.0 * t - 2.0 * t * t)); }, 10000.0, 3.0);
  EXPECT_NE(complaint(slower, 10000.0).find("samples.csv: the frequency goes from 38."),
            std::string::npos)
      << complaint(slower, 10000.0);
}

TEST(Bandwidth, CountsTheOrdersAndNamesTheFilter) {
  EXPECT_EQ(bandwidth(250000.0, 50.0).highest_order, 50);
  EXPECT_EQ(bandwidth(5000.0, 60.0).highest_order, 39);
  EXPECT_NEAR(bandwidth(10000.0, 50.0).pass_Hz, 2525.0, 1e-9);
  EXPECT_NEAR(bandwidth(10000.0, 50.0).stop_Hz, 7475.0, 1e-9);
  EXPECT_NE(bandwidth_text(bandwidth(5000.0, 60.0)).find("No real filter"), std::string::npos);
  EXPECT_EQ(bandwidth_text(bandwidth(10000.0, 50.0)).find("No real filter"), std::string::npos);
}

}  // namespace
}  // namespace windwright::signal
