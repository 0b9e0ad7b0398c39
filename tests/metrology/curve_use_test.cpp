// SPDX-License-Identifier: Apache-2.0
#include "metrology/curve_use.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

Certificate certificate_of(double scatter, const std::vector<double>& u_reading) {
  Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  Readings table;
  for (int i = 0; i < 6; ++i) {
    table.reference.push_back(i);
    table.reading.push_back(1.0 + 2.0 * i + (i % 2 == 0 ? scatter : -scatter));
  }
  table.u_reading = u_reading;
  return calibrate(blank, table, "test");
}

bool counts(const Estimate& value, const std::string& input) {
  return value.contributions().contains(input);
}

// What the curve does not follow, from all stretches of the range.
double u_residual(const Estimate& value) {
  double u = 0.0;
  for (const auto& [input, contribution] : value.contributions()) {
    if (input.starts_with("x:residual")) u = std::hypot(u, contribution.u);
  }
  return u;
}

// ISO/TS 28037:2010, 6.5 and 11: with chi-squared accepted, the stated uncertainties explain
// the scatter, and a new reading brings its own.
TEST(ValueOfReadings, LackOfFitCountsWhereItIsFound) {
  const std::vector<double> u(6, 0.09);
  const Certificate accepted = certificate_of(0.1, u);
  ASSERT_GT(accepted.lack_of_fit, 0.0);
  ASSERT_FALSE(lack_of_fit_is_significant(accepted.fit));
  EXPECT_EQ(u_residual(value_of_readings(accepted, {5.0}, 0.09, "test")), 0.0);
  EXPECT_EQ(u_residual(value_of_readings(accepted, {5.0}, std::nullopt, "test")), 0.0);
  const Certificate missed = certificate_of(0.4, u);
  ASSERT_TRUE(lack_of_fit_is_significant(missed.fit));
  EXPECT_GT(u_residual(value_of_readings(missed, {5.0}, 0.09, "test")), 0.0);
  // Without stated uncertainties nothing tells scatter from lack of fit: both stay in.
  const Certificate unweighted = certificate_of(0.1, {});
  EXPECT_GT(u_residual(value_of_readings(unweighted, {5.0}, 0.09, "test")), 0.0);
}

TEST(ValueOfReadings, SeveralReadingsScatterLessThanOne) {
  const Certificate unweighted = certificate_of(0.1, {});
  const double one = u_residual(value_of_readings(unweighted, {5.0}, std::nullopt, "t"));
  const double four =
      u_residual(value_of_readings(unweighted, {5.1, 4.9, 5.05, 4.95}, std::nullopt, "t"));
  EXPECT_NEAR(four, 0.5 * one, 1e-12);
  // With stated uncertainties readings scatter as stated, even where two agree by chance, unless
  // they scatter by more than twice that.
  const Certificate stated = certificate_of(0.1, std::vector<double>(6, 0.1));
  for (const std::vector<double>& two : {std::vector{5.1, 4.9}, std::vector{5.0, 5.0}}) {
    const Estimate mean = value_of_readings(stated, two, std::nullopt, "t");
    EXPECT_NEAR(mean.contributions().at("x:reading#1").u,
                0.1 / std::sqrt(2.0) * sensitivity(stated, 5.0), 1e-12);
  }
  const Contribution wild =
      value_of_readings(stated, {5.2, 4.8}, std::nullopt, "t").contributions().at("x:reading#1");
  EXPECT_NEAR(wild.u, 0.2 * sensitivity(stated, 5.0), 1e-12);
  EXPECT_EQ(wild.dof, 1.0);
}

// What the calibration states for its readings holds for a new one, unless that says otherwise.
TEST(ValueOfReadings, SingleReadingScattersAsTheCalibrationStates) {
  const auto u_of = [](const Certificate& certificate, double reading,
                       std::optional<double> u_reading) {
    return value_of_readings(certificate, {reading}, u_reading, "t")
               .contributions()
               .at("x:reading#1")
               .u /
           sensitivity(certificate, reading);
  };
  const Certificate even = certificate_of(0.05, std::vector<double>(6, 0.1));
  EXPECT_NEAR(u_of(even, 5.0, std::nullopt), 0.1, 1e-12);
  EXPECT_NEAR(u_of(even, 5.0, 0.02), 0.02, 1e-12);
  EXPECT_EQ(scatter_source(even, {5.0}, std::nullopt), Scatter::of_calibration);
  EXPECT_EQ(scatter_source(even, {5.0, 5.1}, std::nullopt), Scatter::of_calibration);
  EXPECT_EQ(scatter_source(even, {5.0, 5.5}, std::nullopt), Scatter::of_readings);
  // One per cent of each reading, 1 to 11.
  const Certificate share = certificate_of(0.0, {0.01, 0.03, 0.05, 0.07, 0.09, 0.11});
  EXPECT_NEAR(u_of(share, 4.0, std::nullopt), 0.04, 1e-12);
  EXPECT_NEAR(u_of(share, 30.0, std::nullopt), 0.11, 1e-12);
  const Certificate unweighted = certificate_of(0.1, {});
  EXPECT_EQ(scatter_source(unweighted, {5.0}, std::nullopt), Scatter::of_residuals);
  // Uncertainties of the references alone say nothing about a reading.
  Readings table{
      .reference = {0, 1, 2, 3}, .reading = {1, 3, 5, 7}, .u_reference = {}, .u_reading = {}};
  table.u_reference.assign(4, 0.1);
  Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  const Certificate references = calibrate(blank, table, "test");
  EXPECT_EQ(scatter_source(references, {5.0}, std::nullopt), Scatter::nowhere);
  EXPECT_FALSE(counts(value_of_readings(references, {5.0}, std::nullopt, "t"), "x:reading#1"));
}

// Draper and Smith, Applied Regression Analysis (3rd ed.), 1.4 and 3.2: to first order the variance
// of a value read off a line is that of the reading expected there over the slope squared.
TEST(ExpectedReading, IsUncertainAsTheValueReadBackFromIt) {
  Readings table{
      .reference = {0, 1, 2, 3}, .reading = {1, 3.1, 4.9, 7}, .u_reference = {}, .u_reading = {}};
  table.u_reference.assign(4, 0.1);
  Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  const std::vector<double> stated(6, 0.09);
  for (const Certificate& certificate :
       {certificate_of(0.1, {}), certificate_of(0.1, stated), certificate_of(0.4, stated),
        calibrate(blank, table, "test")}) {
    for (const double reference : {0.3, 2.2}) {
      const Estimate single = expected_reading(certificate, reference, 0.0, "t").single;
      const Estimate back = value_of_readings(certificate, {single.value()}, std::nullopt, "t");
      EXPECT_NEAR(back.value(), reference, 1e-12);
      EXPECT_NEAR(single.u() * std::abs(sensitivity(certificate, single.value())), back.u(), 1e-12);
      EXPECT_NEAR(1.0 / single.dof(), 1.0 / back.dof(), 1e-9);
      EXPECT_FALSE(counts(single, "x:residual"));
    }
  }
  // Readings of one stated scatter, which the fit bears out: that, and nothing of the residuals.
  const Estimate accepted = expected_reading(certificate_of(0.1, stated), 2.2, 0.0, "t").single;
  EXPECT_EQ(accepted.contributions().at("x:reading#1").u, 0.09);
  EXPECT_EQ(u_residual(accepted), 0.0);
}

TEST(ValueOfReadings, RefusesANegativeUncertainty) {
  try {
    value_of_readings(certificate_of(0.1, {}), {5.0}, -0.1, "--u-reading");
    FAIL() << "no error";
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()),
              "--u-reading: a standard uncertainty of -0.1: a finite number, 0 or more");
  }
}

TEST(NominalCertificate, IsRefusedWhereNoStandardGivesACurve) {
  for (const char* model : {"line", "king", "ntc", "pitot", "shunt"}) {
    try {
      nominal_certificate({.model = model}, "--model");
      FAIL() << model;
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find("has no curve without readings"), std::string::npos);
    }
  }
}

// There and back over the whole of each standard's range.
TEST(NominalCertificate, ReadsBackWhatItSays) {
  for (const NominalSensor& sensor :
       {NominalSensor{.model = "pt100"}, NominalSensor{.model = "thermocouple:K"},
        NominalSensor{.model = "thermocouple:B"}, NominalSensor{.model = "thermocouple:S"},
        NominalSensor{.model = "ntc", .coefficients = {1.12924e-3, 2.34108e-4, 8.7755e-8}},
        NominalSensor{.model = "pitot", .density_kg_m3 = 1.2}}) {
    const Certificate certificate = nominal_certificate(sensor, "test");
    const auto [low, high] = certificate.reference_range;
    for (int place = 0; place <= 20; ++place) {
      const double value = low + (high - low) * place / 20.0;
      EXPECT_NEAR(value_of(certificate, reading_of(certificate, value)), value, 1e-6 * (high - low))
          << sensor.model;
    }
  }
}

}  // namespace
}  // namespace windwright::metrology
