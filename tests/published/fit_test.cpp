// SPDX-License-Identifier: Apache-2.0
#include "metrology/fit.h"

#include "base/json.h"
#include "metrology/certificate.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

json::value data(const std::string& name) {
  return base::json_from_file(SOURCE_FOLDER "/tests/published/data/" + name);
}

double number(const json::value& value, const char* pointer) {
  return value.at_pointer(pointer).to_number<double>();
}

std::vector<double> numbers(const json::value& value, const char* pointer) {
  std::vector<double> result;
  for (const json::value& entry : value.at_pointer(pointer).as_array()) {
    result.push_back(entry.to_number<double>());
  }
  return result;
}

Readings readings(const json::value& value, const char* reference, const char* reading) {
  return {.reference = numbers(value, reference),
          .reading = numbers(value, reading),
          .u_reference = {},
          .u_reading = {}};
}

double relative(double got, double wanted) {
  return wanted == 0.0 ? std::abs(got) : std::abs(got / wanted - 1.0);
}

// NIST/ITL Statistical Reference Datasets, Linear Regression (US Government work); certified values
// carry 15 digits.
void expect_certified(const json::value& set, const Fit& fit, const std::string& name,
                      double tolerance) {
  ASSERT_EQ(fit.coefficients.size(), set.at("certified").as_array().size());
  for (std::size_t i = 0; i < fit.coefficients.size(); ++i) {
    const json::value& certified = set.at("certified").as_array()[i];
    EXPECT_LE(relative(fit.coefficients[i], number(certified, "/value")), tolerance)
        << name << ": B" << i;
    EXPECT_LE(relative(fit.standard_uncertainties[i], number(certified, "/sd")), tolerance)
        << name << ": u of B" << i;
  }
  EXPECT_LE(relative(fit.residual_standard_deviation, number(set, "/certified_residual_sd")),
            tolerance);
  EXPECT_LE(relative(fit.r_squared, number(set, "/certified_r_squared")), tolerance);
  EXPECT_EQ(fit.degrees_of_freedom, number(set, "/anova/residual_df"));
  EXPECT_TRUE(std::isnan(fit.chi_squared));
}

void expect_certified(const std::string& name, int degree, double tolerance) {
  const json::value set = data(name);
  expect_certified(set, fit_polynomial(readings(set, "/data/x", "/data/y"), degree, name), name,
                   tolerance);
}

TEST(PublishedFit, ReachesTenDigitsOnNorris) {
  expect_certified("nist_strd_lls_norris.json", 1, 1e-10);
}
TEST(PublishedFit, ReachesTenDigitsOnWampler1) {
  expect_certified("nist_strd_lls_wampler1.json", 5, 1e-10);
}
TEST(PublishedFit, ReachesTenDigitsOnWampler3) {
  expect_certified("nist_strd_lls_wampler3.json", 5, 1e-10);
}
TEST(PublishedFit, ReachesTenDigitsOnWampler4) {
  expect_certified("nist_strd_lls_wampler4.json", 5, 1e-10);
}
// Ill-conditioned, degree 10: most programs of the time failed on it.
TEST(PublishedFit, ReachesTenDigitsOnFilip) {
  expect_certified("nist_strd_lls_filip.json", 10, 1e-10);
}

// Six regressors, nearly parallel, and a constant.
TEST(PublishedFit, ReachesTenDigitsOnLongley) {
  const json::value set = data("nist_strd_lls_longley.json");
  LinearReadings table{.terms = {},
                       .coefficients = 7,
                       .reading = numbers(set, "/data/y"),
                       .u_reading = {},
                       .has_constant = true};
  for (std::size_t row = 0; row < table.reading.size(); ++row) {
    table.terms.push_back(1.0);
    for (int k = 1; k <= 6; ++k)
      table.terms.push_back(numbers(set, ("/data/x" + std::to_string(k)).c_str())[row]);
  }
  expect_certified(set, fit_linear(table, "longley"), "longley", 1e-10);
}

// A line through 0.
TEST(PublishedFit, ReachesTenDigitsOnNoInt1) {
  const json::value set = data("nist_strd_lls_noint1.json");
  const LinearReadings table{.terms = numbers(set, "/data/x"),
                             .coefficients = 1,
                             .reading = numbers(set, "/data/y"),
                             .u_reading = {},
                             .has_constant = false};
  expect_certified(set, fit_linear(table, "noint1"), "noint1", 1e-10);
}

// ISO/TS 28037:2010, 6.3, first example (p. 13), and inverse use; 15 digits as computed by the
// Measurement Standards Laboratory of New Zealand from the same data.
TEST(PublishedFit, StraightLineWithEqualKnownUncertainties) {
  const json::value set = data("iso28037_equal_uncertainties.json");
  Readings table = readings(set, "/inputs/x", "/inputs/y");
  table.u_reading = numbers(set, "/inputs/u_y");
  const Fit fit = fit_polynomial(table, 1, "iso28037");
  EXPECT_LE(relative(fit.coefficients[0], number(set, "/crosscheck/a")), 1e-9);
  EXPECT_LE(relative(fit.coefficients[1], number(set, "/crosscheck/b")), 1e-9);
  EXPECT_LE(relative(fit.standard_uncertainties[0], number(set, "/crosscheck/u_a")), 1e-9);
  EXPECT_LE(relative(fit.standard_uncertainties[1], number(set, "/crosscheck/u_b")), 1e-9);
  EXPECT_LE(relative(fit.covariance[1], number(set, "/crosscheck/cov_ab")), 1e-9);
  EXPECT_LE(relative(fit.chi_squared, number(set, "/crosscheck/chi2")), 1e-9);
  EXPECT_EQ(fit.degrees_of_freedom, 4);
  EXPECT_FALSE(lack_of_fit_is_significant(fit));

  Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  Certificate certificate = calibrate(blank, table, "iso28037");
  certificate.lack_of_fit = 0.0;  // the standard takes the scatter as the readings' own
  const double reading = number(set, "/inputs/inverse/y0");
  Estimate x = estimate_of(certificate, reading);
  x.add("y0#1", {sensitivity(certificate, reading) * number(set, "/inputs/inverse/u_y0"), 1e300});
  EXPECT_LE(relative(x.value(), number(set, "/crosscheck/x")), 1e-9);
  EXPECT_LE(relative(x.u(), number(set, "/crosscheck/u_x")), 1e-9);
}

// ISO/TS 28037:2010, 7.4 (p. 21): known uncertainties of both. Uncertainties of the coefficients
// differ by up to 1 % between accepted linearisations.
TEST(PublishedFit, StraightLineWithUncertaintiesOfBoth) {
  const json::value set = data("iso28037_uncertainties_in_x_and_y.json");
  Readings table = readings(set, "/inputs/x", "/inputs/y");
  table.u_reference = numbers(set, "/inputs/u_x");
  table.u_reading = numbers(set, "/inputs/u_y");
  const Fit fit = fit_polynomial(table, 1, "iso28037");
  EXPECT_LE(relative(fit.coefficients[0], number(set, "/crosscheck/a")), 1e-6);
  EXPECT_LE(relative(fit.coefficients[1], number(set, "/crosscheck/b")), 1e-6);
  EXPECT_LE(relative(fit.chi_squared, number(set, "/crosscheck/chi2")), 1e-6);
  EXPECT_LE(relative(fit.standard_uncertainties[0], number(set, "/expected/u_a")), 0.01);
  EXPECT_LE(relative(fit.standard_uncertainties[1], number(set, "/expected/u_b")), 0.01);
}

// Data of Pearson (1901) with weights of York (1966); parameters: Neri et al., J. Phys. E 22 (1989)
// 215; uncertainties: York et al., Am. J. Phys. 72 (2004) 367.
TEST(PublishedFit, PearsonsDataWithYorksWeights) {
  const json::value set = data("york_pearson_errors_in_both.json");
  Readings table = readings(set, "/inputs/x", "/inputs/y");
  for (const double weight : numbers(set, "/inputs/weight_x")) {
    table.u_reference.push_back(1.0 / std::sqrt(weight));
  }
  for (const double weight : numbers(set, "/inputs/weight_y")) {
    table.u_reading.push_back(1.0 / std::sqrt(weight));
  }
  const Fit fit = fit_polynomial(table, 1, "york");
  EXPECT_LE(relative(fit.coefficients[0], number(set, "/expected/a")), 1e-7);
  EXPECT_LE(relative(fit.coefficients[1], number(set, "/expected/b")), 1e-7);
  EXPECT_LE(relative(fit.chi_squared, number(set, "/crosscheck/chi2")), 1e-6);
  EXPECT_LE(relative(fit.standard_uncertainties[0], number(set, "/crosscheck/york2004_u_a")), 0.02);
  EXPECT_LE(relative(fit.standard_uncertainties[1], number(set, "/crosscheck/york2004_u_b")), 0.02);
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.6.5: load cell. Its digits are cut off, not
// rounded, hence a whole unit of the last one.
TEST(PublishedFit, LoadCellQuadratic) {
  const json::value set = data("nist_handbook_load_cell_quadratic.json");
  const Fit fit = fit_polynomial(readings(set, "/inputs/load", "/inputs/response"), 2, "load cell");
  EXPECT_NEAR(fit.coefficients[0], number(set, "/expected/a"), 1e-9);
  EXPECT_NEAR(fit.coefficients[1], number(set, "/expected/b"), 1e-6);
  EXPECT_NEAR(fit.coefficients[2], number(set, "/expected/c"), 1e-11);
  EXPECT_LE(relative(fit.coefficients[1], number(set, "/crosscheck/b")), 1e-7);
  EXPECT_NEAR(fit.standard_uncertainties[0], number(set, "/expected/u_a"), 0.01e-5);
  EXPECT_NEAR(fit.standard_uncertainties[1], number(set, "/expected/u_b"), 0.001e-6);
  EXPECT_NEAR(fit.standard_uncertainties[2], number(set, "/expected/u_c"), 0.001e-7);
  EXPECT_NEAR(fit.residual_standard_deviation, number(set, "/expected/residual_sd"), 0.1e-6);
  EXPECT_EQ(fit.degrees_of_freedom, 30);
}

// JCGM 100:2008, H.3, Table H.6: thermometer correction, line about 20 degC.
TEST(PublishedFit, ThermometerLine) {
  const json::value set = data("gum_h3_thermometer_line.json");
  Readings table = readings(set, "/inputs/t", "/inputs/b");
  for (double& t : table.reference)
    t -= number(set, "/inputs/t0");
  const Fit fit = fit_polynomial(table, 1, "H.3");
  EXPECT_LE(relative(fit.coefficients[0], number(set, "/crosscheck/y1")), 1e-6);
  EXPECT_LE(relative(fit.coefficients[1], number(set, "/crosscheck/y2")), 1e-6);
  EXPECT_LE(relative(fit.standard_uncertainties[0], number(set, "/crosscheck/u_y1")), 1e-6);
  EXPECT_LE(relative(fit.standard_uncertainties[1], number(set, "/crosscheck/u_y2")), 1e-6);
  EXPECT_NEAR(fit.covariance[1] / (fit.standard_uncertainties[0] * fit.standard_uncertainties[1]),
              number(set, "/expected/r_y1_y2"), 0.005);
  EXPECT_NEAR(fit.residual_standard_deviation, number(set, "/expected/s"), 0.00005);
  const double at = 10.0;
  EXPECT_NEAR(polynomial(fit.coefficients, at), number(set, "/expected/b_30"), 0.00005);
  const double variance =
      fit.covariance[0] + 2.0 * at * fit.covariance[1] + at * at * fit.covariance[3];
  EXPECT_NEAR(std::sqrt(variance), number(set, "/expected/u_b_30"), 0.00005);
}

// Oxygen demand against solids reduction (Walpole and Myers), 33 points; inverse prediction from
// the mean of three readings: the mean's own variance is s^2 / 3.
TEST(PublishedFit, InversePredictionFromThreeReadings) {
  const json::value set = data("ols_line_33_points_inverse_prediction.json");
  const Readings table = readings(set, "/inputs/x", "/inputs/y");
  Certificate blank{};
  blank.channel = "x";
  blank.model = "line";
  Certificate certificate = calibrate(blank, table, "33 points");
  EXPECT_LE(relative(certificate.fit.coefficients[0], number(set, "/expected/a")), 1e-9);
  EXPECT_LE(relative(certificate.fit.coefficients[1], number(set, "/expected/b")), 1e-9);
  EXPECT_LE(relative(certificate.fit.standard_uncertainties[0], number(set, "/expected/u_a")),
            1e-9);
  EXPECT_LE(relative(certificate.fit.standard_uncertainties[1], number(set, "/expected/u_b")),
            1e-9);
  const std::vector<double> readings_new = numbers(set, "/inputs/y_new");
  double mean = 0.0;
  for (const double y : readings_new)
    mean += y / 3.0;
  // Here the scatter is the readings' own: it enters as the mean's random part.
  certificate.lack_of_fit = certificate.fit.residual_standard_deviation / std::sqrt(3.0);
  const Estimate x = estimate_of(certificate, mean);
  EXPECT_LE(relative(x.value(), number(set, "/expected/x_from_y_new")), 1e-9);
  EXPECT_LE(relative(x.u(), number(set, "/expected/u_x_from_y_new")), 1e-9);
  EXPECT_NEAR(x.dof(), 31.0, 1e-9);
}

}  // namespace
}  // namespace windwright::metrology
