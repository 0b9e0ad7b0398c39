// SPDX-License-Identifier: Apache-2.0
#include "signal/spectrum.h"

#include "signal/statistics.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <numeric>
#include <random>
#include <span>
#include <vector>

namespace windwright::signal {
namespace {

constexpr double rate_Hz = 1000.0;

std::vector<double> noise(std::size_t size) {
  std::mt19937_64 random(20260302);  // NOLINT(cert-msc51-cpp): the same in every run
  std::normal_distribution<double> normal(3.0, 2.0);
  std::vector<double> samples(size);
  for (double& each : samples)
    each = normal(random);
  return samples;
}

std::vector<double> sine(std::size_t size, double frequency_Hz, double amplitude) {
  std::vector<double> samples(size);
  for (std::size_t n = 0; n < size; ++n)
    samples[n] = 7.0 + amplitude * std::sin(2.0 * std::numbers::pi * frequency_Hz *
                                                static_cast<double>(n) / rate_Hz +
                                            0.4);
  return samples;
}

Spectrum spectrum_of(std::span<const double> samples, Taper taper, std::size_t segment) {
  Welch welch(taper, segment);
  for (std::size_t at = 0; at + segment <= samples.size(); at += welch.step())
    welch.add(samples.subspan(at, segment), static_cast<std::int64_t>(at));
  return welch.spectrum(rate_Hz);
}

double power(const Spectrum& spectrum) {
  return std::accumulate(spectrum.density.begin(), spectrum.density.end(), 0.0) *
         spectrum.line_spacing_Hz;
}

constexpr Taper tapers[] = {Taper::hann, Taper::flat_top, Taper::none};

// Closed form: a sine of whole cycles a segment has its amplitude on its line whatever the taper.
TEST(Spectrum, ASineOnALineHasItsAmplitude) {
  for (const Taper taper : tapers) {
    const Spectrum spectrum = spectrum_of(sine(5000, 120.0, 2.5), taper, 500);
    EXPECT_NEAR(spectrum.amplitude[60], 2.5, 1e-12) << name_of(taper);
    EXPECT_EQ(spectrum.line_spacing_Hz, 2.0);
    EXPECT_NEAR(spectrum.amplitude[0], 0.0, 1e-12) << name_of(taper);  // its mean of 7 is off
    EXPECT_LT(spectrum.amplitude[200], 1e-12) << name_of(taper);
  }
}

// Half of the amplitude's square is the sine's power, wherever it lies between two lines: all of a
// segment's tapered square adds up, and whole cycles of the taper average it.
TEST(Spectrum, ASineBringsHalfItsSquareOfPower) {
  for (const double frequency_Hz : {120.0, 120.7, 121.0})
    EXPECT_NEAR(power(spectrum_of(sine(50'000, frequency_Hz, 2.5), Taper::hann, 500)), 3.125, 0.01)
        << frequency_Hz;
}

// Parseval: with no taper the lines add up to the mean variance of the segments (divisor n), with
// one to the weighted mean square of them.
TEST(Spectrum, LinesAddUpToTheMeanSquare) {
  for (const std::size_t segment : {64U, 75U, 2U, 3U}) {
    const std::vector<double> samples = noise(10 * segment + 1);
    for (const Taper taper : tapers) {
      const std::vector<double> weights = taper_weights(taper, segment);
      Welch welch(taper, segment);
      double sum = 0.0;
      std::size_t segments = 0;
      for (std::size_t at = 0; at + segment <= samples.size(); at += welch.step()) {
        const auto part = std::span(samples).subspan(at, segment);
        const double level = mean(part);
        double weighted = 0.0;
        double whole = 0.0;
        for (std::size_t n = 0; n < segment; ++n) {
          weighted += std::pow(weights[n] * (part[n] - level), 2);
          whole += weights[n] * weights[n];
        }
        sum += weighted / whole;
        ++segments;
      }
      EXPECT_NEAR(power(spectrum_of(samples, taper, segment)) / sum * static_cast<double>(segments),
                  1.0, 1e-12)
          << segment << " " << name_of(taper);
    }
  }
}

// White noise of standard deviation 2 has a density of 2 * 2^2 / rate on every line but the ends;
// its scatter over the lines is the stated one.
TEST(Spectrum, WhiteNoiseIsLevelAndScattersAsStated) {
  const std::vector<double> samples = noise(400'000);
  for (const Taper taper : tapers) {
    const Spectrum spectrum = spectrum_of(samples, taper, 1000);
    const auto inner = std::span(spectrum.density).subspan(10, 480);
    const double expected = 8.0 / rate_Hz;
    const double u = spectrum.relative_u * expected;
    // Neighbouring lines of a taper are not independent: some 3 of flat top's 480 make one.
    EXPECT_NEAR(mean(inner), expected, 4.0 * u / std::sqrt(480.0 / 4.0)) << name_of(taper);
    EXPECT_NEAR(std::sqrt(variance(inner)) / u, 1.0, 0.2) << name_of(taper);
  }
}

// Equivalent noise bandwidths in lines: Harris (1978), table 1: rectangle 1.00, Hann 1.50.
// Overlapped by half, his table gives a correlation of 16.7 % for Hann; two segments then have a
// relative variance of (1 + 0.167^2) / 2.
TEST(Spectrum, TapersHaveHarrisFigures) {
  EXPECT_NEAR(spectrum_of(noise(64), Taper::none, 64).noise_bandwidth_Hz / rate_Hz * 64, 1.0,
              0.005);
  const Spectrum two = spectrum_of(noise(96), Taper::hann, 64);
  ASSERT_EQ(two.segments, 2U);
  EXPECT_NEAR(two.noise_bandwidth_Hz / rate_Hz * 64, 1.5, 0.005);
  EXPECT_NEAR(two.relative_u * two.relative_u, 0.5 * (1.0 + 0.167 * 0.167), 0.0005);
  EXPECT_NEAR(two.dof * two.relative_u * two.relative_u, 2.0, 1e-12);
}

// The five terms add up to 1 in the middle; noise bandwidth of 3.770 lines: from memory.
TEST(Spectrum, TheFlatTopIsTheFiveTermOne) {
  EXPECT_NEAR(taper_weights(Taper::flat_top, 64)[32], 1.0, 1e-8);
  const Spectrum spectrum = spectrum_of(noise(64), Taper::flat_top, 64);
  EXPECT_NEAR(spectrum.noise_bandwidth_Hz / rate_Hz * 64, 3.770, 0.0005);
}

// What the enumerators promise of a sine half-way between two lines: Harris (1978), table 1,
// scallop loss of Hann 1.42 dB; the flat top is there to have next to none.
TEST(Spectrum, ASineBetweenLinesLosesWhatItsTaperCosts) {
  const auto largest = [](Taper taper) {
    const Spectrum spectrum = spectrum_of(sine(5000, 121.0, 1.0), taper, 500);
    return *std::max_element(spectrum.amplitude.begin(), spectrum.amplitude.end());
  };
  EXPECT_NEAR(20.0 * std::log10(largest(Taper::hann)), -1.42, 0.01);
  EXPECT_NEAR(largest(Taper::flat_top), 1.0, 0.002);
}

// A gap keeps segments apart: those do not count as overlapping.
TEST(Spectrum, SegmentsFarApartCountAsIndependent) {
  const std::vector<double> samples = noise(128);
  Welch welch(Taper::hann, 64);
  welch.add(std::span(samples).first(64), 0);
  welch.add(std::span(samples).last(64), 6400);
  EXPECT_NEAR(welch.spectrum(rate_Hz).dof, 4.0, 1e-12);
}

}  // namespace
}  // namespace windwright::signal
