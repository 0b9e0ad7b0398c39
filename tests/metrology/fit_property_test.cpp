// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/certificate.h"
#include "metrology/fit.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numeric>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

// A few coefficients of ordinary size and references anywhere.
struct Case {
  std::vector<double> coefficients;
  Readings readings;
};

Case a_case(int degree) {
  Case made;
  const int scale = *rc::gen::inRange(-3, 4);
  const int shift = *rc::gen::inRange(-3, 4);
  for (int k = 0; k <= degree; ++k) {
    made.coefficients.push_back(*rc::gen::inRange(-1000, 1001) / 250.0 *
                                std::pow(10.0, -scale * k));
  }
  const int n = *rc::gen::inRange(degree + 2, 30);
  for (int i = 0; i < n; ++i) {
    const double reference = std::pow(10.0, scale) * (shift + i / (n - 1.0));
    made.readings.reference.push_back(reference);
    made.readings.reading.push_back(polynomial(made.coefficients, reference));
  }
  return made;
}

double largest(const std::vector<double>& values) {
  double most = 0.0;
  for (const double value : values)
    most = std::max(most, std::abs(value));
  return most;
}

// Looks at the curve: single coefficients are ill determined where the range is far from 0.
void require_same_curve(const Case& made, const Fit& fit, double tolerance) {
  const double size = largest(made.readings.reading);
  for (const double reference : made.readings.reference) {
    const double terms = [&] {
      double sum = size;
      for (std::size_t k = 0; k < made.coefficients.size(); ++k) {
        sum += std::abs(fit.coefficients[k] * std::pow(reference, static_cast<double>(k)));
      }
      return sum;
    }();
    RC_ASSERT(std::abs(polynomial(fit.coefficients, reference) -
                       polynomial(made.coefficients, reference)) <= tolerance * terms);
  }
}

RC_GTEST_PROP(FitPolynomial, GivesBackAnExactPolynomial, ()) {
  const int degree = *rc::gen::inRange(1, 7);
  const Case made = a_case(degree);
  require_same_curve(made, fit_polynomial(made.readings, degree, "case"), 1e-13);
}

RC_GTEST_PROP(FitPolynomial, GivesBackAnExactPolynomialWhateverTheWeights, ()) {
  const int degree = *rc::gen::inRange(1, 5);
  Case made = a_case(degree);
  const double size = std::max(1e-6, largest(made.readings.reading));
  for (std::size_t i = 0; i < made.readings.reference.size(); ++i) {
    made.readings.u_reading.push_back(0.001 * size * *rc::gen::inRange(1, 100));
  }
  require_same_curve(made, fit_polynomial(made.readings, degree, "case"), 1e-12);
}

RC_GTEST_PROP(FitPolynomial, DoesNotCareForTheOrderOfTheReadings, ()) {
  Case made = a_case(2);
  const base::RandomStream random(*rc::gen::inRange<std::uint64_t>(0, 1000000), "noise");
  const double size = std::max(1e-6, largest(made.readings.reading));
  for (std::size_t i = 0; i < made.readings.reading.size(); ++i) {
    made.readings.reading[i] += 0.01 * size * random.normal(i);
  }
  const Fit fit = fit_polynomial(made.readings, 2, "case");
  std::reverse(made.readings.reference.begin(), made.readings.reference.end());
  std::reverse(made.readings.reading.begin(), made.readings.reading.end());
  const Fit turned = fit_polynomial(made.readings, 2, "case");
  for (std::size_t k = 0; k < 3; ++k) {
    RC_ASSERT(std::abs(fit.coefficients[k] - turned.coefficients[k]) <=
              1e-9 * fit.standard_uncertainties[k]);
  }
}

// Readings in another unit: coefficients and uncertainties scale with it.
RC_GTEST_PROP(FitPolynomial, ScalesWithTheUnitOfTheReading, ()) {
  Case made = a_case(2);
  const base::RandomStream random(*rc::gen::inRange<std::uint64_t>(0, 1000000), "noise");
  for (std::size_t i = 0; i < made.readings.reading.size(); ++i) {
    made.readings.reading[i] += random.normal(i);
  }
  const Fit fit = fit_polynomial(made.readings, 2, "case");
  for (double& reading : made.readings.reading)
    reading *= 1000.0;
  const Fit scaled = fit_polynomial(made.readings, 2, "case");
  for (std::size_t k = 0; k < 3; ++k) {
    RC_ASSERT(std::abs(scaled.standard_uncertainties[k] / fit.standard_uncertainties[k] / 1000.0 -
                       1.0) < 1e-9);
  }
  RC_ASSERT(std::abs(scaled.r_squared - fit.r_squared) < 1e-9);
}

// Very many readings are fitted by sums: the same as by QR in extended precision, coefficients,
// covariance and all. References in a narrow heap with two outliers far away go to QR by
// themselves.
RC_GTEST_PROP(FitPolynomial, SumsOverManyReadingsGiveWhatQrGives, ()) {
  const bool weighted = *rc::gen::arbitrary<bool>();
  const bool heaped = *rc::gen::arbitrary<bool>();
  const int degree = *rc::gen::inRange(1, heaped ? 3 : 6);
  const base::RandomStream random(*rc::gen::inRange<std::uint64_t>(0, 1000000), "many");
  Readings many;
  LinearReadings linear{.terms = {},
                        .coefficients = static_cast<std::size_t>(degree) + 1,
                        .reading = {},
                        .u_reading = {},
                        .has_constant = true};
  for (std::uint64_t i = 0; i < 600; ++i) {
    double x = 2.0 + 3.0 * random.uniform(2 * i);
    if (heaped) x = i < 2 ? 2.0 + 3.0 * static_cast<double>(i) : 3.0 + 1e-3 * random.uniform(2 * i);
    many.reference.push_back(x);
    many.reading.push_back(1.0 + std::sin(x) + 0.01 * random.normal(2 * i + 1));
    if (weighted) many.u_reading.push_back(0.01 * (1.0 + random.uniform(10000 + i)));
    for (int k = 0; k <= degree; ++k)
      linear.terms.push_back(std::pow(x, k));
  }
  linear.reading = many.reading;
  linear.u_reading = many.u_reading;
  const Fit sums = fit_polynomial(many, degree, "many");
  const Fit qr = fit_linear(linear, "many");
  // Powers as such are nearly parallel, so double powers limit the comparison in the heap.
  const double tolerance = heaped ? 1e-3 : 1e-6;
  for (std::size_t k = 0; k <= static_cast<std::size_t>(degree); ++k) {
    RC_ASSERT(std::abs(sums.coefficients[k] - qr.coefficients[k]) <=
              tolerance * qr.standard_uncertainties[k]);
    RC_ASSERT(std::abs(sums.standard_uncertainties[k] / qr.standard_uncertainties[k] - 1.0) <=
              tolerance);
  }
  RC_ASSERT(std::abs(sums.residual_standard_deviation / qr.residual_standard_deviation - 1.0) <=
            1e-9);
  RC_ASSERT(std::abs(sums.r_squared - qr.r_squared) <= 1e-9);
}

// Vanishing uncertainty of the references: the fit of both becomes the fit of readings alone.
RC_GTEST_PROP(FitPolynomial, UncertaintyOfBothGoesOverIntoUncertaintyOfOne, ()) {
  Case made = a_case(2);
  const base::RandomStream random(*rc::gen::inRange<std::uint64_t>(0, 1000000), "noise");
  const double size = std::max(1e-6, largest(made.readings.reading));
  const double span = made.readings.reference.back() - made.readings.reference.front();
  for (std::size_t i = 0; i < made.readings.reading.size(); ++i) {
    made.readings.reading[i] += 0.01 * size * random.normal(i);
    made.readings.u_reading.push_back(0.01 * size);
  }
  const Fit one = fit_polynomial(made.readings, 2, "case");
  made.readings.u_reference.assign(made.readings.reading.size(), 1e-9 * span);
  const Fit both = fit_polynomial(made.readings, 2, "case");
  RC_ASSERT(std::abs(both.chi_squared - one.chi_squared) <= 1e-5 * (1.0 + one.chi_squared));
}

// The point of it all: over many calibrations of a sensor with known truth the 95 % interval of a
// value read from the certificate covers the truth in 95 of 100.
TEST(EstimateOf, IntervalCoversTheTruth) {
  constexpr int rounds = 1000;
  int covered = 0;
  for (std::uint64_t seed = 0; seed < rounds; ++seed) {
    const base::RandomStream random(seed, "calibration");
    Readings readings;
    for (std::uint64_t i = 0; i < 12; ++i) {
      const double reference = static_cast<double>(i);
      readings.reference.push_back(reference);
      readings.reading.push_back(0.5 + 0.4 * reference + 0.01 * random.normal(i));
    }
    Certificate blank{};
    blank.channel = "x";
    blank.model = "line";
    const Certificate certificate = calibrate(blank, readings, "test");
    // One more reading, with the scatter that the residual stands for.
    const double truth = 7.3;
    const Estimate got = estimate_of(certificate, 0.5 + 0.4 * truth + 0.01 * random.normal(100));
    if (std::abs(got.value() - truth) <= got.expanded()) ++covered;
  }
  EXPECT_GE(covered, 920);
  EXPECT_LE(covered, 980);
}

}  // namespace
}  // namespace windwright::metrology
