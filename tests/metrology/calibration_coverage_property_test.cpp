// SPDX-License-Identifier: Apache-2.0
// Simulated calibrations with known truth, 10,000 a model, seeds fixed: the stated 95 % interval of
// a value read with the certificate holds the truth in 94 to 96 of 100.
#include "base/random.h"
#include "metrology/certificate.h"
#include "metrology/curve_use.h"
#include "metrology/law.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

struct Truth {
  std::string model;                 // that is fitted
  std::string law;                   // that makes the readings
  std::vector<double> coefficients;  // of the law
  double low;                        // of the reference
  double high;
  double noise;  // standard deviation, of the reading (of the reference of a backward law)
};

enum class Stated { nothing, readings, both };

// f of the true law.
double value(const Law& law, const std::vector<double>& coefficients, double argument) {
  const std::vector<Extended> c(coefficients.begin(), coefficients.end());
  std::vector<Extended> gradient(c.size());
  Extended slope = 0;
  return static_cast<double>(law.evaluate(c, argument, slope, gradient));
}

class Trial {
 public:
  Trial(const Truth& truth, const Law& law, Stated stated, std::uint64_t seed)
      : truth_(truth), law_(law), stated_(stated), random_(seed, "calibration " + truth.model) {}

  bool covers() const {
    const Certificate certificate = calibrate(blank(), readings(), "trial");
    const double x = truth_.low + (0.1 + 0.8 * random_.uniform(1000)) * (truth_.high - truth_.low);
    std::optional<double> u;
    double reading = 0.0;
    double wanted = x;
    if (law_.is_backward()) {
      // The scatter is of the reference: the new value has it as well.
      reading = argument_of(x);
      if (stated_ == Stated::nothing) wanted += truth_.noise * random_.normal(1001);
    } else {
      reading = value(law_, truth_.coefficients, x) + truth_.noise * random_.normal(1001);
    }
    if (stated_ != Stated::nothing) u = law_.is_backward() ? 0.0 : truth_.noise;
    const Estimate got = value_of_readings(certificate, {reading}, u, "trial");
    return std::abs(got.value() - wanted) <= got.expanded();
  }

 private:
  Certificate blank() const {
    Certificate certificate{};
    certificate.channel = "x";
    certificate.model = truth_.model;
    return certificate;
  }

  // Reading of a backward law at a reference, by bisection.
  double argument_of(double reference) const {
    double low = 1e-3;
    double high = 1e6;
    const bool rises = value(law_, truth_.coefficients, high) > reference;
    for (int step = 0; step < 80; ++step) {
      const double middle = std::sqrt(low * high);
      const bool above = value(law_, truth_.coefficients, middle) > reference;
      (above == rises ? high : low) = middle;
    }
    return std::sqrt(low * high);
  }

  Readings readings() const {
    constexpr int count = 15;
    Readings table;
    const double u_reference = 0.003 * (truth_.high - truth_.low);
    for (int i = 0; i < count; ++i) {
      const auto n = static_cast<std::uint64_t>(i);
      const double x = truth_.low + (truth_.high - truth_.low) * i / (count - 1.0);
      const double noise = truth_.noise * random_.normal(n);
      if (law_.is_backward()) {
        table.reading.push_back(argument_of(x));
        table.reference.push_back(x + noise);
        if (stated_ != Stated::nothing) table.u_reference.push_back(truth_.noise);
        continue;
      }
      table.reading.push_back(value(law_, truth_.coefficients, x) + noise);
      table.reference.push_back(x);
      if (stated_ != Stated::nothing) table.u_reading.push_back(truth_.noise);
      if (stated_ != Stated::both) continue;
      table.reference.back() += u_reference * random_.normal(n + 100);
      table.u_reference.push_back(u_reference);
    }
    return table;
  }

  const Truth& truth_;
  const Law& law_;
  Stated stated_;
  base::RandomStream random_;
};

void expect_honest(const Truth& truth, Stated stated) {
  constexpr int trials = 10000;
  const auto law = law_of_model(truth.law, "test");
  int covered = 0;
  for (std::uint64_t seed = 0; seed < trials; ++seed)
    covered += Trial(truth, *law, stated, seed).covers() ? 1 : 0;
  EXPECT_GE(covered, 9400) << truth.model;
  EXPECT_LE(covered, 9600) << truth.model;
}

const Truth line{"line", "line", {0.5, 0.4}, 2.0, 20.0, 0.01};
const Truth quadratic{"polynomial:2", "polynomial:2", {0.5, 0.4, -0.004}, 2.0, 20.0, 0.01};
const Truth king{"king", "king", {1.396, 0.895, 0.45}, 1.0, 20.0, 0.003};
const Truth pitot{"pitot", "pitot", {0.1, 0.6}, 4.0, 20.0, 0.3};
const Truth cup{"cup", "cup", {0.35, 0.765}, 4.0, 16.0, 0.02};
const Truth pt100{"pt100", "pt100", {100.02, 3.9083e-3, -5.775e-7}, 0.0, 120.0, 0.01};
const Truth thermocouple{"thermocouple:K", "thermocouple:K", {0.01, 1.002}, 0.0, 200.0, 0.01};
const Truth ntc{"ntc", "ntc", {1.12924e-3, 2.34108e-4, 8.7755e-8}, 0.0, 60.0, 0.02};
const Truth tachometer{"tachometer", "tachometer", {60.0 / 6.2831853}, 5.0, 150.0, 0.4};

TEST(CalibrationCoverage, Line) {
  expect_honest(line, Stated::nothing);
  expect_honest(line, Stated::readings);
  expect_honest(line, Stated::both);
}
TEST(CalibrationCoverage, Polynomial) {
  expect_honest(quadratic, Stated::nothing);
  expect_honest(quadratic, Stated::readings);
}
TEST(CalibrationCoverage, PolynomialOfChosenDegree) {
  Truth chosen = quadratic;
  chosen.model = "polynomial:auto";
  expect_honest(chosen, Stated::nothing);
  expect_honest(chosen, Stated::readings);
}
TEST(CalibrationCoverage, King) {
  expect_honest(king, Stated::nothing);
  expect_honest(king, Stated::readings);
}
TEST(CalibrationCoverage, Pitot) {
  expect_honest(pitot, Stated::nothing);
  expect_honest(pitot, Stated::both);
}
TEST(CalibrationCoverage, Cup) {
  expect_honest(cup, Stated::nothing);
  expect_honest(cup, Stated::readings);
}
TEST(CalibrationCoverage, Thermometers) {
  expect_honest(pt100, Stated::nothing);
  expect_honest(thermocouple, Stated::readings);
  expect_honest(ntc, Stated::nothing);
}
TEST(CalibrationCoverage, GainAlone) {
  expect_honest(tachometer, Stated::nothing);
  expect_honest(tachometer, Stated::readings);
}

}  // namespace
}  // namespace windwright::metrology
