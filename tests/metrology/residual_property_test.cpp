// SPDX-License-Identifier: Apache-2.0
// What a fitted curve does not follow, where two readings of one sensor meet in a result: simulated
// sensors with known truth, which deviate smoothly from the fitted law.
#include "base/random.h"
#include "metrology/certificate.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>

namespace windwright::metrology {
namespace {

constexpr double low = 2.0;
constexpr double high = 14.0;

// The straight sensor that the law knows, and waves of random length, size and place, the shortest
// about half the range long.
class Sensor {
 public:
  explicit Sensor(std::uint64_t seed) : random_(seed, "smooth sensor") {}

  double reading(double value) const {
    constexpr int waves = 12;
    const double half_range = 0.5 * (high - low);
    double sum = 0.0;
    for (std::uint64_t i = 0; i < waves; ++i) {
      const double frequency = random_.normal(3 * i) / (half_range * (0.4 + 0.8 * uniform(900)));
      const double phase = 2.0 * std::numbers::pi * random_.uniform(3 * i + 1);
      sum += random_.normal(3 * i + 2) * std::cos(frequency * value + phase);
    }
    return 0.5 + 0.3 * value + 0.005 * sum;
  }
  double uniform(std::uint64_t n) const { return random_.uniform(n); }
  double scatter(std::uint64_t n) const { return 0.0005 * random_.normal(n); }

 private:
  base::RandomStream random_;
};

Certificate calibrated(const Sensor& sensor, const std::string& model, int inputs) {
  Readings readings;
  for (int i = 0; i < inputs; ++i) {
    readings.reference.push_back(low + (high - low) * i / (inputs - 1.0));
    readings.reading.push_back(sensor.reading(readings.reference.back()) +
                               sensor.scatter(static_cast<std::uint64_t>(1000 + i)));
  }
  Certificate blank{};
  blank.channel = "x";
  blank.model = model;
  return calibrate(blank, readings, "sensor");
}

double share_of_held(const std::string& model, int inputs, double sign, double nearest,
                     double farthest) {
  constexpr int trials = 2000;
  int held = 0;
  for (std::uint64_t trial = 0; trial < trials; ++trial) {
    const Sensor sensor(trial);
    const Certificate certificate = calibrated(sensor, model, inputs);
    const double apart = (nearest + (farthest - nearest) * sensor.uniform(901)) * (high - low);
    const double first = low + (high - low - apart) * sensor.uniform(902);
    const Estimate together = estimate_of(certificate, sensor.reading(first + apart)) +
                              sign * estimate_of(certificate, sensor.reading(first));
    const double truth = first + apart + sign * first;
    held += std::abs(together.value() - truth) <= together.expanded() ? 1 : 0;
  }
  return static_cast<double>(held) / trials;
}

struct Case {
  const char* model;
  int inputs;
};
constexpr Case cases[] = {{"line", 9}, {"line", 20}, {"polynomial:3", 12}};

// One residual for the whole range held the truth in 20 to 80 of 100.
TEST(Residual, DifferencesOfReadingsHoldTheTruth) {
  for (const auto& [model, inputs] : cases) {
    EXPECT_GE(share_of_held(model, inputs, -1.0, 0.3, 1.0), 0.94) << model << " " << inputs;
    EXPECT_GE(share_of_held(model, inputs, -1.0, 0.0, 0.3), 0.94) << model << " " << inputs;
  }
}

TEST(Residual, SumsOfReadingsHoldTheTruth) {
  for (const auto& [model, inputs] : cases) {
    EXPECT_GE(share_of_held(model, inputs, 1.0, 0.0, 1.0), 0.94) << model << " " << inputs;
  }
}

Estimate residual_alone(Certificate certificate, double reading) {
  std::fill(certificate.fit.covariance.begin(), certificate.fit.covariance.end(), 0.0);
  if (certificate.fit.scaled) {
    auto& scaled = certificate.fit.scaled->covariance;
    std::fill(scaled.begin(), scaled.end(), 0.0);
  }
  return estimate_of(certificate, reading);
}

TEST(Residual, IsOfOneSizeEverywhereSharedNearbyAndNotFarAway) {
  const Certificate certificate = calibrated(Sensor(7), "line", 12);
  const double whole = certificate.lack_of_fit * std::abs(sensitivity(certificate, 1.5));
  const auto at = [&](double share) {
    const auto& [from, to] = certificate.reading_range;
    return residual_alone(certificate, from + share * (to - from));
  };
  for (int i = -10; i <= 110; ++i)
    EXPECT_NEAR(at(0.01 * i).u() / whole, 1.0, 1e-12);
  for (int i = 0; i < 66; ++i) {
    const Estimate here = at(0.01 * i);
    EXPECT_LT((at(0.01 * i + 0.01) - here).u(), 0.1 * whole);
    // Two coefficients leave three arches.
    EXPECT_NEAR((at(0.01 * i + 0.335) - here).u() / whole, std::numbers::sqrt2, 1e-12);
  }
  EXPECT_EQ((at(0.4) - at(0.4)).u(), 0.0);
}

}  // namespace
}  // namespace windwright::metrology
