// SPDX-License-Identifier: Apache-2.0
#include "acquisition/live_values.h"

#include "base/settings.h"
#include "bench/bench.h"
#include "bench/derived_table.h"
#include "counting_device.h"
#include "metrology/certificate.h"

#include <gtest/gtest.h>
#include <hwy/highway.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::acquisition {
namespace {

/// Volts = 0.5 + 0.1 value, a bent one, and a steep one at its start (a pressure tube's), as
/// calibrated on made-up readings.
metrology::Certificate certificate(const std::string& model) {
  metrology::Readings readings;
  for (int i = 0; i <= 12; ++i) {
    const double value = 7.5 * i;
    readings.reference.push_back(value);
    const double bow = model == "line" ? 0.0 : 0.0002 * value * value / 10.0;
    readings.reading.push_back(model == "pitot" ? 0.5 + 0.001 * value * value
                                                : 0.5 + 0.1 * value + bow);
  }
  metrology::Certificate made;
  made.model = model;
  made.reference_unit = model == "pitot" ? "m/s" : "V";
  made.reading_unit = "V";
  return metrology::calibrate(made, readings, "made up");
}

struct Expected {
  double mean = 0.0;
  double deviation = 0.0;
  double lowest = 1e300;
  double highest = -1e300;
};

Expected expected(const std::vector<double>& values) {
  Expected all;
  for (const double value : values) {
    all.mean += value / static_cast<double>(values.size());
    all.lowest = std::min(all.lowest, value);
    all.highest = std::max(all.highest, value);
  }
  for (const double value : values)
    all.deviation += (value - all.mean) * (value - all.mean) / static_cast<double>(values.size());
  all.deviation = std::sqrt(all.deviation);
  return all;
}

void expect_near(const Figures& figures, const Expected& all, double part) {
  const double scale = std::abs(all.highest) + std::abs(all.lowest);
  EXPECT_NEAR(figures.mean, all.mean, part * scale);
  EXPECT_NEAR(figures.deviation, all.deviation, part * scale);
  EXPECT_NEAR(figures.lowest, all.lowest, part * scale);
  EXPECT_NEAR(figures.highest, all.highest, part * scale);
}

TEST(LiveValues, AreWhatTheCertificatesSayOfEverySample) {
  const bench::Bench bench = bench_of(4, 10'000.0);
  const std::vector<std::optional<metrology::Certificate>> certificates{
      certificate("line"), certificate("polynomial:2"), std::nullopt, certificate("polynomial:2")};
  bench::SampleBlock block;
  block.channels = 4;
  std::mt19937 random(5);
  for (const auto target : hwy::SupportedAndGeneratedTargets()) {
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
    SCOPED_TRACE(hwy::TargetName(target));
    LiveValues live(bench, certificates);
    ASSERT_EQ(live.channels().size(), 5U);
    EXPECT_EQ(live.channels()[4].name, "dc_power_W");
    EXPECT_EQ(live.channels()[2].unit, "V");
    EXPECT_FALSE(live.channels()[2].calibrated);
    for (const std::size_t samples : {1U, 7U, 1000U, 4097U}) {
      block.samples = samples;
      block.counts.clear();
      for (std::size_t c = 0; c < 4; ++c) {
        const double bits = c == 3 ? 24.0 : 16.0;
        const auto full = static_cast<std::int32_t>(std::exp2(bits));
        std::uniform_int_distribution<std::int32_t> near(full / 2, full / 2 + full / 8);
        for (std::size_t i = 0; i < samples; ++i)
          block.counts.push_back(near(random));
      }
      live.take(block);
      std::vector<std::vector<double>> values(4);
      for (std::size_t c = 0; c < 4; ++c) {
        for (const std::int32_t count : block.channel(c)) {
          const double reading_V = bench::volts(bench.channels[c].converter, count);
          values[c].push_back(certificates[c] ? metrology::value_of(*certificates[c], reading_V)
                                              : reading_V);
        }
        expect_near(live.figures(c), expected(values[c]), 4e-7);
        EXPECT_NEAR(live.values(c).back(), values[c].back(), 4e-7 * std::abs(values[c].back()));
      }
      std::vector<double> power(samples);
      for (std::size_t i = 0; i < samples; ++i)
        power[i] = values[0][i] * values[1][i];
      expect_near(live.figures(4), expected(power), 1e-6);
    }
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
}

// Every count of the converter: inside the certified range, at its ends and beyond, whatever the
// law's shape.
TEST(LiveValues, DerivedOnesAreTheEquationOfEverySample) {
  bench::Bench bench = bench_of(3, 10'000.0);
  bench.derived = bench::derived_from_tables(
      base::Settings::from_text(R"(schema = 1
[[derived]]
name = "dc_resistance_ohm"
long_name = "what the load looks like"
equation = "dc_voltage_V / dc_current_A"
[[derived]]
name = "unknown_part"
long_name = "of a channel without certificate"
equation = "rotor_speed_rad_s * tip_radius_m"
)",
                                "bench.toml"),
      std::vector<std::string>{"dc_voltage_V", "dc_current_A", "rotor_speed_rad_s"}, 0.25);
  const metrology::Certificate line = certificate("line");
  LiveValues live(bench, {line, line, std::nullopt});
  ASSERT_EQ(live.channels().size(), 5U);  // three channels, a power, and one that is known
  EXPECT_EQ(live.channels()[4].name, "dc_resistance_ohm");
  EXPECT_EQ(live.channels()[4].unit, "ohm");
  bench::SampleBlock block;
  block.channels = 3;
  block.samples = 1000;
  std::mt19937 random(7);
  std::uniform_int_distribution<std::int32_t> counts(20'000, 60'000);
  for (std::size_t i = 0; i < 3 * block.samples; ++i)
    block.counts.push_back(counts(random));
  live.take(block);
  std::vector<double> ratio(block.samples);
  for (std::size_t i = 0; i < block.samples; ++i) {
    const auto value = [&](std::size_t c) {
      return metrology::value_of(line,
                                 bench::volts(bench.channels[c].converter, block.channel(c)[i]));
    };
    ratio[i] = value(0) / value(1);
    EXPECT_NEAR(live.values(4)[i], ratio[i], 1e-6 * ratio[i]);
  }
  expect_near(live.figures(4), expected(ratio), 1e-6);
}

TEST(LiveValues, LeaveOutSamplesWithoutADerivedValue) {
  bench::Bench bench = bench_of(2, 10'000.0);
  bench.derived =
      bench::derived_from_tables(base::Settings::from_text(R"toml(schema = 1
[[derived]]
name = "root"
long_name = "of a current that may be negative"
equation = "sqrt(dc_current_A)"
)toml",
                                                           "bench.toml"),
                                 std::vector<std::string>{"dc_voltage_V", "dc_current_A"}, 0.25);
  const metrology::Certificate line = certificate("line");  // 0 at 0.5 V: count 3276
  LiveValues live(bench, {line, line});
  bench::SampleBlock block;
  block.channels = 2;
  block.samples = 3;
  block.counts = {1, 1, 1, 100, 30'000, 60'000};
  live.take(block);
  EXPECT_TRUE(std::isnan(live.values(3)[0]));
  EXPECT_NEAR(live.figures(3).lowest, live.values(3)[1], 1e-6);
  EXPECT_NEAR(live.figures(3).mean, 0.5 * (live.values(3)[1] + live.values(3)[2]), 1e-5);
  block.counts = {1, 1, 1, 100, 100, 100};
  live.take(block);
  EXPECT_TRUE(std::isnan(live.figures(3).mean));
}

TEST(LiveValues, FollowEveryLawOverTheWholeConverter) {
  for (const char* model : {"line", "polynomial:2", "polynomial:3", "pitot"}) {
    SCOPED_TRACE(model);
    const bench::Bench bench = bench_of(1, 10'000.0);
    const std::optional<metrology::Certificate> made = certificate(model);
    LiveValues live(bench, {made});
    bench::SampleBlock block;
    block.channels = 1;
    block.samples = 65536;
    for (std::int32_t count = 0; count < 65536; ++count)
      block.counts.push_back(count);
    live.take(block);
    double largest = 0.0;
    double span = 0.0;
    for (std::int32_t count = 0; count < 65536; ++count) {
      const double value =
          metrology::value_of(*made, bench::volts(bench.channels[0].converter, count));
      span = std::max(span, std::abs(value));
      const double shown = live.values(0)[static_cast<std::size_t>(count)];
      largest = std::isnan(value) ? largest : std::max(largest, std::abs(shown - value));
    }
    EXPECT_LT(largest, 5e-7 * span);
  }
}

}  // namespace
}  // namespace windwright::acquisition
