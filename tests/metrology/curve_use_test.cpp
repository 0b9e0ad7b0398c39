// SPDX-License-Identifier: Apache-2.0
#include "metrology/curve_use.h"

#include "base/errors.h"
#include "base/random.h"
#include "metrology/certificate.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
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

Certificate adjusted(Certificate certificate, double u) {
  certificate.adjustment = FieldAdjustment{.points = {{.reading = 1.0, .reference = 0.0, .u = u},
                                                      {.reading = 11.0, .reference = 5.0, .u = u}},
                                           .date = {}};
  return certificate;
}

// A field adjustment fixes what the curve says at its points, not the reading that comes next: to
// first order u^2 = u_field^2 + (s / slope)^2 / m there (JCGM 100:2008, 5.1.2).
TEST(ValueOfReadings, ScatterAtAPointOfAFieldAdjustmentToo) {
  const Certificate certificate = adjusted(certificate_of(0.1, {}), 0.01);
  const double scatter = certificate.fit.residual_standard_deviation;
  const double slope = sensitivity(certificate, 1.0);
  for (const double reading : {1.0, 11.0}) {
    const Estimate one = value_of_readings(certificate, {reading}, std::nullopt, "t");
    EXPECT_NEAR(one.u(), std::hypot(0.01, slope * scatter), 1e-9);
    EXPECT_EQ(one.contributions().at("x:reading#1").dof, 4.0);
    const Estimate four =
        value_of_readings(certificate, {reading, reading, reading, reading}, std::nullopt, "t");
    EXPECT_NEAR(four.u(), std::hypot(0.01, 0.5 * slope * scatter), 1e-9);
    // The other way round.
    const ExpectedReading expected =
        expected_reading(certificate, value_of(certificate, reading), 0.0, "t");
    EXPECT_NEAR(expected.mean.u(), 0.01 / slope, 1e-9);
    EXPECT_NEAR(expected.single.u(), std::hypot(0.01 / slope, scatter), 1e-9);
  }
  // With stated uncertainties each counts once.
  const Certificate stated = adjusted(certificate_of(0.1, std::vector<double>(6, 0.1)), 0.01);
  EXPECT_NEAR(value_of_readings(stated, {1.0}, std::nullopt, "t").u(),
              std::hypot(0.01, 0.1 * sensitivity(stated, 1.0)), 1e-9);
}

// 10,000 simulated calibrations of y = 1 + 2 x read with a scatter of 0.1, seeds fixed, each
// adjusted by two field points whose known inputs are off by their u of 0.05: the truth at a point
// is in 94 to 96 of 100 intervals.
TEST(ValueOfReadings, CoverTheTruthAtAPointOfAFieldAdjustment) {
  int covered = 0;
  constexpr int trials = 10000;
  for (int seed = 0; seed < trials; ++seed) {
    const base::RandomStream random(static_cast<std::uint64_t>(seed), "field adjustment");
    Readings table;
    for (int i = 0; i < 12; ++i) {
      table.reference.push_back(0.5 * i);
      table.reading.push_back(1.0 + i + 0.1 * random.normal(static_cast<std::uint64_t>(i)));
    }
    Certificate blank{};
    blank.channel = "x";
    blank.model = "line";
    Certificate certificate = calibrate(blank, table, "test");
    // Means of so many readings that their scatter is nothing.
    certificate.adjustment =
        FieldAdjustment{.points = {{1.0, 0.05 * random.normal(100), 0.05},
                                   {11.0, 5.0 + 0.05 * random.normal(101), 0.05}},
                        .date = {}};
    const double reading = 1.0 + 0.1 * random.normal(102);
    const Estimate got = value_of_readings(certificate, {reading}, std::nullopt, "trial");
    covered += std::abs(got.value()) <= got.expanded() ? 1 : 0;
  }
  EXPECT_GE(covered, 9400);
  EXPECT_LE(covered, 9600);
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
  // The known input is known by itself, so an error of the calibration's standard shows in full.
  Certificate by_standard = certificate_of(0.1, stated);
  by_standard.standard.u = 0.2;
  by_standard.standard.u_relative = 0.01;
  for (const Certificate& certificate :
       {certificate_of(0.1, {}), certificate_of(0.1, stated), certificate_of(0.4, stated),
        calibrate(blank, table, "test"), by_standard, adjusted(certificate_of(0.1, {}), 0.01)}) {
    for (const double reference : {0.3, 2.2}) {
      const Estimate single = expected_reading(certificate, reference, 0.0, "t").single;
      const Estimate back = value_of_readings(certificate, {single.value()}, std::nullopt, "t");
      EXPECT_NEAR(back.value(), reference, 1e-12);
      EXPECT_NEAR(single.u() * std::abs(sensitivity(certificate, single.value())), back.u(), 1e-12);
      EXPECT_NEAR(1.0 / single.dof(), 1.0 / back.dof(), 1e-9);
      EXPECT_FALSE(counts(single, "x:residual"));
    }
  }
  const ExpectedReading standard = expected_reading(by_standard, 2.0, 0.0, "t");
  const double slope = 1.0 / sensitivity(by_standard, standard.mean.value());
  for (const Estimate& expected : {standard.mean, standard.single}) {
    EXPECT_NEAR(std::abs(expected.contributions().at("x:standard").u), slope * 0.2, 1e-9);
    EXPECT_NEAR(std::abs(expected.contributions().at("x:standard-relative").u), slope * 0.02, 1e-9);
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
