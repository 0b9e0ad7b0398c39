// SPDX-License-Identifier: Apache-2.0
#include "metrology/certificate.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "metrology/law.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

Certificate blank(const std::string& model) {
  return {.channel = "air_speed_m_s",
          .model = model,
          .fit = {},
          .reference_range = {},
          .reading_range = {},
          .reference_unit = "m s-1",
          .reading_unit = "V",
          .date = base::utc_from_text("2026-03-02", "test"),
          .valid_until = base::utc_from_text("2027-03-02", "test"),
          .standard = {.name = "nozzle", .u = 0.02, .u_relative = 0.005},
          .u_drift = 0.01,
          .environment = "20 degC"};
}

Readings readings_of(const std::function<double(double)>& curve) {
  Readings readings;
  for (int i = 0; i <= 10; ++i) {
    const double scatter = 0.002 * ((i * 7) % 5 - 2);
    readings.reference.push_back(i);
    readings.reading.push_back(curve(i) + scatter);
  }
  return readings;
}

Certificate line() {
  return calibrate(blank("line"), readings_of([](double x) { return 0.5 + 0.4 * x; }), "test");
}

Certificate falling_quadratic() {
  return calibrate(blank("polynomial:2"),
                   readings_of([](double x) { return 5.0 - 0.4 * x + 0.01 * x * x; }), "test");
}

std::filesystem::path scratch(const std::string& name, std::string_view text) {
  const auto file = std::filesystem::temp_directory_path() / ("windwright_certificate_" + name);
  base::write_whole(file, text);
  return file;
}

std::string message_of(const std::function<void()>& call) {
  try {
    call();
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "no error";
}

TEST(ValueOf, IsTheInverseOfTheCurve) {
  for (const Certificate& certificate : {line(), falling_quadratic()}) {
    for (const double x : {0.0, 0.001, 3.3, 9.999, 10.0}) {
      EXPECT_NEAR(value_of(certificate, polynomial(certificate.fit.coefficients, x)), x, 1e-13);
    }
  }
}

TEST(ValueOf, CarriesOnAlongTheTangent) {
  const Certificate certificate = falling_quadratic();
  const auto& c = certificate.fit.coefficients;
  const double slope = polynomial_slope(c, 10.0);
  EXPECT_NEAR(value_of(certificate, polynomial(c, 10.0) + 3.0 * slope), 13.0, 1e-12);
  const double slope_at_zero = polynomial_slope(c, 0.0);
  EXPECT_NEAR(value_of(certificate, polynomial(c, 0.0) - 2.0 * slope_at_zero), -2.0, 1e-12);
}

TEST(ValuesOf, AreThoseOfValueOf) {
  const Certificate certificate = falling_quadratic();
  std::vector<double> readings;
  for (int i = 0; i < 100; ++i)
    readings.push_back(0.5 + 0.06 * i);
  std::vector<double> values(readings.size());
  values_of(certificate, readings, values);
  for (std::size_t i = 0; i < readings.size(); ++i) {
    EXPECT_EQ(values[i], value_of(certificate, readings[i]));
  }
}

TEST(Sensitivity, IsTheSlopeOfTheInverse) {
  for (const Certificate& certificate : {line(), falling_quadratic()}) {
    for (const double reading : {0.4, 2.0, 4.9, 5.5}) {
      const double slope =
          (value_of(certificate, reading + 1e-5) - value_of(certificate, reading - 1e-5)) / 2e-5;
      EXPECT_NEAR(sensitivity(certificate, reading) / slope, 1.0, 1e-6);
    }
  }
}

TEST(EstimateOf, NamesItsInputs) {
  const Estimate got = estimate_of(line(), 2.5);
  const auto& inputs = got.contributions();
  EXPECT_NEAR(inputs.at("air_speed_m_s:standard").u, 0.02, 1e-15);
  EXPECT_NEAR(inputs.at("air_speed_m_s:standard-relative").u, 0.005 * got.value(), 1e-15);
  EXPECT_NEAR(inputs.at("air_speed_m_s:drift").u, 0.01, 1e-15);
  double residual = 0.0;
  for (const auto& [input, contribution] : inputs) {
    if (!input.starts_with("air_speed_m_s:residual-")) continue;
    residual = std::hypot(residual, contribution.u);
    EXPECT_EQ(contribution.dof, 9.0);
  }
  EXPECT_NEAR(residual, line().fit.residual_standard_deviation / line().fit.coefficients[1], 1e-15);
  EXPECT_EQ(inputs.at("air_speed_m_s:calibration-0").dof, 9.0);
  EXPECT_EQ(inputs.count("air_speed_m_s:calibration-1"), 1U);
  EXPECT_EQ(got.u_random(), 0.0);
}

// The variance of the curve at x, from the covariance matrix: g C g^T.
TEST(EstimateOf, CoefficientsGiveTheVarianceOfTheCurve) {
  for (const Certificate& certificate : {line(), falling_quadratic()}) {
    const std::size_t size = certificate.fit.coefficients.size();
    for (const double x : {0.0, 4.0, 9.0}) {
      double variance = 0.0;
      for (std::size_t i = 0; i < size; ++i) {
        for (std::size_t j = 0; j < size; ++j) {
          variance +=
              certificate.fit.covariance[i * size + j] * std::pow(x, static_cast<double>(i + j));
        }
      }
      const Estimate got = estimate_of(certificate, polynomial(certificate.fit.coefficients, x));
      double sum = 0.0;
      for (const auto& [input, contribution] : got.contributions()) {
        if (input.find(":calibration-") != std::string::npos) sum += std::pow(contribution.u, 2.0);
      }
      const double slope = polynomial_slope(certificate.fit.coefficients, x);
      EXPECT_NEAR(sum * slope * slope / variance, 1.0, 1e-9);
    }
  }
}

// Moves each coefficient and looks how the value goes, beyond the range too.
TEST(EstimateOf, ContributionsFollowACoefficientThatMoves) {
  Certificate certificate = falling_quadratic();
  certificate.fit.scaled.reset();  // the coefficients of the reference's powers
  Certificate one = certificate;   // only c_2 uncertain
  one.fit.covariance.assign(9, 0.0);
  one.fit.covariance[8] = 1e-8;
  Certificate moved = certificate;
  moved.fit.coefficients[2] += 1e-4;
  for (const double reading : {4.0, 2.5, 1.0}) {
    const double got =
        estimate_of(one, reading).contributions().at("air_speed_m_s:calibration-2").u;
    const double wanted = value_of(moved, reading) - value_of(certificate, reading);
    EXPECT_NEAR(got / wanted, 1.0, 0.02) << reading;
  }
}

TEST(EstimateOf, DifferenceOfTwoReadingsIsBetterThanEach) {
  const Estimate a = estimate_of(line(), 2.5);
  const Estimate b = estimate_of(line(), 2.6);
  EXPECT_LT((b - a).u(), 0.1 * a.u());
}

TEST(LargestUncertainty, IsAtTheFarEndForARelativeStandard) {
  const LargestUncertainty got = largest_uncertainty(line());
  EXPECT_EQ(got.reference, 10.0);
  EXPECT_NEAR(got.expanded, estimate_of(line(), 4.5).expanded(), 1e-4);
}

// JCGM 100:2008, Table G.2: t for 95 % and one degree of freedom is 12.71.
TEST(LargestUncertainty, CoversByStudentsFactor) {
  Certificate plain = blank("line");
  plain.standard = {};
  plain.u_drift = 0.0;
  Readings three;
  three.reference = {1.0, 2.0, 3.0};
  three.reading = {1.02, 1.97, 3.04};
  const Certificate certificate = calibrate(plain, three, "test");
  const LargestUncertainty got = largest_uncertainty(certificate);
  EXPECT_NEAR(got.coverage_factor, 12.71, 0.005);
  EXPECT_NEAR(got.expanded,
              12.71 * estimate_of(certificate, reading_of(certificate, got.reference)).u(), 0.001);
  const json::value document = to_json(certificate);
  EXPECT_NEAR(document.at_pointer("/expanded_uncertainty/coverage_factor").to_number<double>(),
              12.71, 0.005);
}

// A barometer from 99 to 103 kPa: powers of the reference reach 1e25.
Readings far_from_zero(double offset) {
  Readings readings;
  for (int i = 0; i <= 20; ++i) {
    const double x = 99000.0 + 200.0 * i;
    const double t = (x - 101000.0) / 2000.0;
    readings.reference.push_back(x - offset);
    readings.reading.push_back(2.5 + 1.2 * t + 0.04 * t * t + 0.002 * ((i * 7) % 5 - 2));
  }
  return readings;
}

// The place of zero is a convention: it changes no uncertainty.
TEST(EstimateOf, IsTheSameFarFromZero) {
  Certificate plain = blank("polynomial:5");
  plain.standard = {};
  plain.u_drift = 0.0;
  const Certificate near = calibrate(plain, far_from_zero(101000.0), "near");
  const Certificate far = calibrate(plain, far_from_zero(0.0), "far");
  const Certificate read_back = certificate_from_text(base::json_text(to_json(far)), "far.json");
  for (const double reading : {1.35, 2.0, 2.5, 3.6}) {
    const Estimate wanted = estimate_of(near, reading);
    for (const Certificate* one : {&far, &read_back}) {
      const Estimate got = estimate_of(*one, reading);
      EXPECT_NEAR(got.value() - 101000.0, wanted.value(), 1e-7) << reading;
      EXPECT_NEAR(got.u() / wanted.u(), 1.0, 1e-9) << reading;
    }
  }
}

// A whole covariance without correlation is the same statement as a column of uncertainties.
TEST(EstimateOf, IsTheSameFarFromZeroWithAWholeCovariance) {
  Readings by_column = far_from_zero(0.0);
  Readings whole = by_column;
  const std::size_t size = whole.reading.size();
  by_column.u_reading.assign(size, 0.003);
  whole.covariance.assign(size * size, 0.0);
  for (std::size_t i = 0; i < size; ++i)
    whole.covariance[i * size + i] = 9e-6;
  const Certificate wanted = calibrate(blank("polynomial:4"), by_column, "column");
  const Certificate got = calibrate(blank("polynomial:4"), whole, "whole");
  for (const double reading : {1.35, 2.5, 3.6}) {
    EXPECT_NEAR(value_of(got, reading), value_of(wanted, reading), 1e-5) << reading;
    const double u =
        estimate_of(wanted, reading).contributions().at("air_speed_m_s:calibration-0").u;
    EXPECT_NEAR(estimate_of(got, reading).contributions().at("air_speed_m_s:calibration-0").u / u,
                1.0, 1e-6)
        << reading;
  }
}

std::string refusal(const json::value& document) {
  try {
    certificate_from_text(base::json_text(document), "cert.json");
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "";
}

TEST(CertificateFromText, RefusesScaledPowersOfAnotherCurve) {
  json::value document = to_json(line());
  EXPECT_EQ(refusal(document), "");
  json::value& coefficient = document.at_pointer("/fit/coefficients/0");
  coefficient = coefficient.to_number<double>() + 1e-6;
  EXPECT_NE(refusal(document).find("is another curve than coefficients and covariance"),
            std::string::npos)
      << refusal(document);
}

// As issued before scaled powers were kept.
TEST(CertificateFromText, RefusesACovarianceThatLostItsDigits) {
  json::value far = to_json(calibrate(blank("polynomial:5"), far_from_zero(0.0), "far"));
  far.at("fit").as_object().erase("scaled_powers");
  EXPECT_NE(refusal(far).find("has lost its digits"), std::string::npos) << refusal(far);
  json::value old = to_json(line());
  old.at("fit").as_object().erase("scaled_powers");
  EXPECT_EQ(refusal(old), "");
}

TEST(Calibrate, TakesTheReadingsOwnScatterOutOfTheLackOfFit) {
  Readings readings = readings_of([](double x) { return 0.5 + 0.4 * x; });
  readings.u_reading.assign(readings.reading.size(), 0.002);
  const Certificate certificate = calibrate(blank("line"), readings, "test");
  const double residual = certificate.fit.residual_standard_deviation;
  EXPECT_NEAR(certificate.lack_of_fit, std::sqrt(residual * residual - 4e-6), 1e-12);
  readings.u_reading.assign(readings.reading.size(), 1.0);
  EXPECT_EQ(calibrate(blank("line"), readings, "test").lack_of_fit, 0.0);
}

TEST(Calibrate, TellsASignificantLackOfFit) {
  Readings bent = readings_of([](double x) { return 0.5 + 0.4 * x + 0.01 * x * x; });
  bent.u_reading.assign(bent.reading.size(), 0.003);
  EXPECT_TRUE(lack_of_fit_is_significant(calibrate(blank("line"), bent, "test").fit));
  EXPECT_FALSE(lack_of_fit_is_significant(calibrate(blank("polynomial:2"), bent, "test").fit));
}

TEST(Calibrate, RefusesACurveThatTurns) {
  const Readings readings = readings_of([](double x) { return (x - 5.0) * (x - 5.0); });
  const std::string message =
      message_of([&] { calibrate(blank("polynomial:2"), readings, "bowl.csv"); });
  EXPECT_EQ(message.find("bowl.csv: the polynomial:2 is level or turns at reference 5"), 0U)
      << message;
}

TEST(Calibrate, RefusesWhatItCannotFit) {
  const Readings five = readings_of([](double x) { return x; });
  EXPECT_EQ(message_of([&] { calibrate(blank("cubic"), five, "r.csv"); }),
            fmt::format("r.csv: model 'cubic': {}", model_names()));
  EXPECT_EQ(message_of([&] { calibrate(blank("polynomial:7"), five, "r.csv"); }),
            fmt::format("r.csv: model 'polynomial:7': {}", model_names()));
  Readings two = five;
  for (double& reference : two.reference)
    reference = reference < 5.0 ? 1.0 : 2.0;
  EXPECT_EQ(message_of([&] { calibrate(blank("polynomial:2"), two, "r.csv"); }),
            "r.csv: 2 distinct references for 3 coefficients: at least 3 distinct references");
  EXPECT_EQ(
      message_of([&] { calibrate(blank("line"), {{1.0, 2.0}, {1.0, 2.0}, {}, {}}, "r.csv"); }),
      "r.csv: 2 readings for 2 coefficients: at least 3 readings");
  Readings weightless = five;
  weightless.u_reading.assign(five.reading.size(), 0.0);
  EXPECT_EQ(message_of([&] { calibrate(blank("line"), weightless, "r.csv"); }),
            "r.csv: u_reading holds 0: finite values above 0");
}

TEST(CertificateFile, GivesBackTheSameCertificate) {
  for (const Certificate& certificate : {line(), falling_quadratic()}) {
    const Certificate back =
        certificate_from_file(scratch("same.json", base::json_text(to_json(certificate))));
    EXPECT_EQ(back.channel, certificate.channel);
    EXPECT_EQ(back.model, certificate.model);
    EXPECT_EQ(back.date, certificate.date);
    EXPECT_EQ(back.valid_until, certificate.valid_until);
    EXPECT_EQ(back.environment, certificate.environment);
    EXPECT_EQ(back.reading_unit, certificate.reading_unit);
    EXPECT_EQ(back.standard.name, certificate.standard.name);
    EXPECT_EQ(back.fit.degrees_of_freedom, certificate.fit.degrees_of_freedom);
    EXPECT_TRUE(std::isnan(back.fit.chi_squared));
    for (const double reading : {1.0, 2.0, 4.0}) {
      const Estimate want = estimate_of(certificate, reading);
      const Estimate got = estimate_of(back, reading);
      EXPECT_DOUBLE_EQ(got.value(), want.value());
      ASSERT_EQ(got.contributions().size(), want.contributions().size());
      for (const auto& [input, contribution] : want.contributions()) {
        EXPECT_NEAR(got.contributions().at(input).u, contribution.u, 1e-13 * want.u()) << input;
        EXPECT_EQ(got.contributions().at(input).dof, contribution.dof) << input;
      }
    }
  }
}

TEST(CertificateFile, RefusesEveryDamagedMember) {
  const json::value good = to_json(line());
  struct Damage {
    const char* member;
    json::value value;
    const char* message;
  };
  const std::vector<Damage> damages{
      {"/schema", 2, "schema"},
      {"/model", "cubic", "model"},
      {"/fit/coefficients", json::array{1.0}, "coefficients"},
      {"/fit/coefficients", json::array{0.0, 0.0}, "is another curve"},
      {"/fit/covariance", json::array{json::array{1.0, 2.0}, json::array{2.0, 1.0}}, "covariance"},
      {"/fit/covariance", json::array{json::array{-1.0, 0.0}, json::array{0.0, 1.0}}, "covariance"},
      {"/fit/covariance", "none", "covariance"},
      {"/fit/degrees_of_freedom", 0, "degrees_of_freedom"},
      {"/fit/degrees_of_freedom", 2.5, "degrees_of_freedom"},
      {"/fit/residual_standard_deviation", -1.0, "residual_standard_deviation"},
      {"/fit/chi_squared", "many", "chi_squared"},
      {"/range/reference", json::array{2.0, 1.0}, "range: reference"},
      {"/range/reading", json::array{2.0}, "range: reading"},
      {"/unit/reading", "flurb", "unit: reading"},
      {"/date", "yesterday", "date"},
      {"/valid_until", "2020-01-01", "valid_until"},
      {"/reference_standard/u", -0.1, "reference_standard: u"},
      {"/u_drift", nullptr, "u_drift"}};
  for (const Damage& damage : damages) {
    json::value bad = good;
    bad.at_pointer(damage.member) = damage.value;
    const auto file = scratch("bad.json", base::json_text(bad));
    const std::string message = message_of([&] { certificate_from_file(file); });
    EXPECT_EQ(message.find(file.string()), 0U) << damage.member << ": " << message;
    EXPECT_NE(message.find(damage.message), std::string::npos) << damage.member << ": " << message;
  }
  json::value level = good;
  level.at("fit").as_object().erase("scaled_powers");
  level.at_pointer("/fit/coefficients") = json::array{0.0, 0.0};
  const auto file = scratch("bad.json", base::json_text(level));
  EXPECT_NE(message_of([&] { certificate_from_file(file); }).find("level or turns"),
            std::string::npos);
}

TEST(Covers, FromTheLeastToTheMostReading) {
  const Certificate certificate = line();
  EXPECT_TRUE(covers(certificate, certificate.reading_range[0]));
  EXPECT_TRUE(covers(certificate, certificate.reading_range[1]));
  EXPECT_FALSE(covers(certificate, certificate.reading_range[1] + 1e-9));
  EXPECT_FALSE(covers(certificate, certificate.reading_range[0] - 1e-9));
}

TEST(LackOfFit, IsNotBlamedForTheReferencesOwnScatter) {
  // A true line; the known inputs scatter by their stated uncertainty and nothing else does.
  Readings readings;
  for (int i = 0; i < 40; ++i) {
    const double scatter = 0.05 * ((i * 7) % 5 - 2) / std::sqrt(2.0);
    readings.reference.push_back(0.25 * i + scatter);
    readings.reading.push_back(0.5 + 0.5 * 0.25 * i);
    readings.u_reference.push_back(0.05);
  }
  const Certificate certificate = calibrate(blank("line"), readings, "test");
  EXPECT_FALSE(lack_of_fit_is_significant(certificate.fit));
  EXPECT_LT(certificate.lack_of_fit, 0.4 * 0.5 * 0.05);
}

}  // namespace
}  // namespace windwright::metrology
