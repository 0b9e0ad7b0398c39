// SPDX-License-Identifier: Apache-2.0
#include "signal/exact_window.h"

#include "signal/exact_lines.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <vector>

namespace windwright::signal {
namespace {

constexpr double pi = std::numbers::pi;

std::vector<double> weights_of(const ExactWindow& window) {
  std::vector<double> weights(window.size(), 1.0);
  std::copy(window.lead().begin(), window.lead().end(), weights.begin());
  std::copy(window.tail().begin(), window.tail().end(),
            weights.end() - static_cast<std::ptrdiff_t>(window.tail().size()));
  return weights;
}

std::complex<double> response(const ExactWindow& window, double cycles_per_sample) {
  std::complex<double> sum;
  const auto weights = weights_of(window);
  for (std::size_t n = 0; n < weights.size(); ++n)
    sum += weights[n] * std::polar(1.0, -2.0 * pi * cycles_per_sample * static_cast<double>(n));
  return sum;
}

TEST(ExactWindow, WeighsAsMuchAsItIsLong) {
  for (const double length : {1000.0, 1000.3, 1234.567}) {
    const ExactWindow window(70.2, 70.2 + length, 128.0);
    EXPECT_NEAR(window.sum(), length, 1e-7 * length);
  }
}

TEST(ExactWindow, HasTheRectanglesZerosWhateverItsLength) {
  const double length = 1000.3;
  const ExactWindow window(70.2, 70.2 + length, 128.0);
  for (const int cycles : {1, 2, 10, 137, 470})
    EXPECT_LT(std::abs(response(window, cycles / length)), 1e-7 * length) << cycles;
  // Half-way between two zeros it is a rectangle's times the bell's.
  const double bell = 1.0 - 0.37 * std::pow(1.5 / length * 128.0, 2);
  EXPECT_NEAR(std::abs(response(window, 1.5 / length)) / length, bell * 2.0 / (3.0 * pi), 1e-4);
}

TEST(ExactWindow, OneAfterTheOtherCountEverySampleOnce) {
  const ExactWindow first(64.0, 1064.3, 128.0);
  const ExactWindow second(1064.3, 2100.9, 128.0);
  std::vector<double> together(2300, 0.0);
  for (const ExactWindow* window : {&first, &second}) {
    const auto weights = weights_of(*window);
    for (std::size_t n = 0; n < weights.size(); ++n)
      together[window->first() + n] += weights[n];
  }
  for (std::size_t n = 130; n < 2030; ++n)
    ASSERT_NEAR(together[n], 1.0, 1e-12) << n;
}

TEST(ExactWindow, WithoutARampTakesSamplesWhole) {
  const ExactWindow window(-0.5, 999.5, 0.0);
  EXPECT_EQ(window.first(), 0U);
  EXPECT_EQ(window.size(), 1000U);
  EXPECT_EQ(window.sum(), 1000.0);
}

// Against the sum that defines a line.
TEST(ExactLines, AreTheSumsThatDefineThem) {
  const double length = 700.4;
  const ExactWindow window(20.0, 20.0 + length, 40.0);
  std::vector<double> v(window.size());
  std::vector<double> i(window.size());
  for (std::size_t n = 0; n < v.size(); ++n) {
    const auto at = static_cast<double>(n);
    v[n] = std::sin(0.1 * at) + 0.3 * std::cos(1.9 * at) + 0.2;
    i[n] = 1e-3 * std::sin(0.37 * at * at / 700.0);
  }
  const auto weights = weights_of(window);
  ExactLines finder;
  const PairLines lines = finder.of(v, i, window, 1.0 / length, 300);
  for (const std::size_t k : {0U, 1U, 11U, 213U, 299U}) {
    std::complex<double> of_v;
    std::complex<double> of_i;
    for (std::size_t n = 0; n < v.size(); ++n) {
      const auto turn = std::polar(1.0, -2.0 * pi * static_cast<double>(k * n) / length);
      of_v += weights[n] * v[n] * turn;
      of_i += weights[n] * i[n] * turn;
    }
    const double scale = (k == 0 ? 1.0 : std::numbers::sqrt2) / window.sum();
    EXPECT_NEAR(std::abs(lines.v[k] - scale * of_v), 0.0, 1e-13) << k;
    EXPECT_NEAR(std::abs(lines.i[k] - scale * of_i), 0.0, 1e-14) << k;
  }
}

}  // namespace
}  // namespace windwright::signal
