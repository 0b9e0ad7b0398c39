// SPDX-License-Identifier: Apache-2.0
#include "analysis/turning_lines.h"

#include "bench/bench.h"
#include "signal/spectrum.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr double turn_Hz = 35.0;
constexpr double turning_rad_s = 2.0 * std::numbers::pi * turn_Hz;

bench::Bench bench_of(int pole_pairs) {
  bench::Bench bench{};
  bench.generator.pole_pairs = pole_pairs;
  return bench;
}

/// A line each, half a hertz apart, up to 500 Hz.
signal::Spectrum spectrum_with(const std::vector<std::pair<double, double>>& sines) {
  signal::Spectrum spectrum{};
  spectrum.line_spacing_Hz = 0.5;
  spectrum.amplitude.assign(1001, 0.001);
  for (const auto& [frequency_Hz, amplitude] : sines)
    spectrum.amplitude.at(static_cast<std::size_t>(std::lround(2.0 * frequency_Hz))) = amplitude;
  return spectrum;
}

TEST(TurningLines, AreFoundWhereTheyTurn) {
  // Half a line off, as a mean speed is; 300 Hz belongs to nobody.
  const auto lines =
      turning_lines(bench_of(4), turning_rad_s, 3,
                    spectrum_with({{35.5, 0.2}, {104.0, 0.05}, {140.0, 3.0}, {250.0, 9.0}}));
  ASSERT_EQ(lines.size(), 8);
  EXPECT_EQ(lines[0].code, "rotor");
  EXPECT_EQ(lines[0].amplitude, 0.2);
  EXPECT_EQ(lines[1].code, "blades");
  EXPECT_NEAR(lines[1].frequency_Hz, 105.0, 1e-9);
  EXPECT_EQ(lines[1].amplitude, 0.05);
  EXPECT_EQ(lines[2].code, "generator");
  EXPECT_NEAR(lines[2].frequency_Hz, 140.0, 1e-9);
  EXPECT_EQ(lines[2].amplitude, 3.0);
}

// 1000 samples a second: 700 Hz is seen at 300, 840 at 160, and 980 at 20.
TEST(TurningLines, WhatLiesBeyondHalfTheSamplingRateIsFoundWhereItIsFolded) {
  const auto lines = turning_lines(bench_of(4), turning_rad_s, 3,
                                   spectrum_with({{300.0, 0.5}, {160.0, 0.3}, {20.0, 0.1}}));
  ASSERT_EQ(lines.size(), 8);
  EXPECT_EQ(lines[3].code, "harmonic_5");
  EXPECT_NEAR(lines[3].true_Hz, 700.0, 1e-9);
  EXPECT_NEAR(lines[3].frequency_Hz, 300.0, 1e-9);
  EXPECT_EQ(lines[3].amplitude, 0.5);
  EXPECT_EQ(lines[4].code, "bridge");
  EXPECT_NEAR(lines[4].frequency_Hz, 160.0, 1e-9);
  EXPECT_EQ(lines[4].amplitude, 0.3);
  EXPECT_EQ(lines[5].code, "harmonic_7");
  EXPECT_NEAR(lines[5].frequency_Hz, 20.0, 1e-9);
  EXPECT_EQ(lines[5].amplitude, 0.1);
}

TEST(TurningLines, WhatWouldBeFoldedOntoWhatIsConstantIsLeftOut) {
  // Six pulses of five pole pairs, 30 times a turn: 1000 Hz.
  const auto lines =
      turning_lines(bench_of(5), turning_rad_s * 1000.0 / 1050.0, 3, spectrum_with({}));
  EXPECT_EQ(lines.size(), 7);
  for (const TurningLine& line : lines)
    EXPECT_NE(line.code, "bridge");
}

TEST(TurningLines, TheBridgeHasSixPulsesForEachPolePairAndTurn) {
  const auto lines = turning_lines(bench_of(2), turning_rad_s, 7, spectrum_with({{420.0, 0.4}}));
  ASSERT_EQ(lines.size(), 8);
  EXPECT_EQ(lines[1].code, "generator") << "from the slowest on: two pole pairs, then seven blades";
  EXPECT_EQ(lines[4].code, "bridge");
  EXPECT_NEAR(lines[4].true_Hz, 420.0, 1e-9);
  EXPECT_EQ(lines[4].amplitude, 0.4);
}

TEST(TurningLines, ARotorThatHardlyTurnsHasNone) {
  EXPECT_TRUE(turning_lines(bench_of(4), 6.0, 3, spectrum_with({})).empty());
  EXPECT_TRUE(turning_lines(bench_of(4), std::nan(""), 3, spectrum_with({})).empty());
}

}  // namespace
}  // namespace windwright::analysis
