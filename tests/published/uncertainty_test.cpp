// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "base/table.h"
#include "metrology/correlated.h"
#include "metrology/estimate.h"
#include "metrology/student.h"
#include "signal/statistics.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

constexpr double known = std::numeric_limits<double>::infinity();

std::string data(const std::string& name) {
  return SOURCE_FOLDER "/tests/published/data/" + name;
}

double number(const json::value& value, const std::string& pointer) {
  return value.at_pointer(pointer).to_number<double>();
}

Estimate input(const std::string& name, double value, double u, double dof = known) {
  return {value, {{name, {u, dof}}}};
}

// JCGM 100:2008, Table G.2 (7 digits computed elsewhere; the table prints two decimals).
TEST(PublishedUncertainty, StudentsFactors) {
  const base::Table table = base::Table::from_file(data("student_t_coverage_factors.csv"));
  const std::vector<std::pair<std::string, double>> levels{{"p68.27", 0.6827}, {"p90", 0.90},
                                                           {"p95", 0.95},      {"p95.45", 0.9545},
                                                           {"p99", 0.99},      {"p99.73", 0.9973}};
  const std::size_t nu = table.required_column("nu");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double dof = table.text(row, nu) == "inf" ? known : table.number(row, nu);
    for (const auto& [name, level] : levels) {
      const double printed = table.number(row, table.required_column(name));
      EXPECT_NEAR(student_factor(level, dof) / printed, 1.0, 1e-6) << name << " at " << dof;
    }
  }
}

// JCGM 100:2008, H.1: end-gauge, Table H.1 and H.1.6; first-order terms.
TEST(PublishedUncertainty, EndGauge) {
  const json::value set = base::json_from_file(data("gum_h1_end_gauge.json"));
  const auto from = [&set](const std::string& name, double dof) {
    const std::string at = "/inputs/" + name;
    return input(name, number(set, at + "/value"), number(set, at + "/u"), dof);
  };
  const Estimate length = from("l_S", 18.0);
  // Read together from three parts, Table H.1: 25.6 degrees of freedom by Welch and Satterthwaite.
  Estimate difference(number(set, "/inputs/d/value"));
  difference.add("repeated", {number(set, "/inputs/d/parts/0/u"), 24.0});
  difference.add("comparator-random", {number(set, "/inputs/d/parts/1/u"), 5.0});
  difference.add("comparator-systematic", {number(set, "/inputs/d/parts/2/u"), 8.0});
  EXPECT_NEAR(difference.u(), 9.7, 0.05);
  EXPECT_NEAR(difference.dof(), 25.6, 25.6 * 4.0 * 0.05 / 9.7);  // printed from u rounded to 9.7

  const Estimate got = length + difference -
                       length * (from("delta_alpha", 50.0) * from("theta", known) +
                                 from("alpha_S", known) * from("delta_theta", 2.0));
  EXPECT_NEAR(got.value(), number(set, "/expected/l"), 0.5);
  EXPECT_NEAR(std::abs(got.contributions().at("l_S").u), 25.0, 0.05);
  EXPECT_NEAR(std::abs(got.contributions().at("delta_alpha").u), 2.9, 0.05);
  EXPECT_NEAR(std::abs(got.contributions().at("delta_theta").u), 16.6, 0.1);
  EXPECT_NEAR(std::abs(got.contributions().at("theta").u), 0.0, 1e-9);
  EXPECT_NEAR(got.u(), number(set, "/expected/u_c"), 0.5);
  EXPECT_EQ(std::floor(got.dof()), number(set, "/expected/nu_eff"));
  EXPECT_NEAR(got.expanded(0.99), number(set, "/expected/U_99"), 1.0);
}

// JCGM 100:2008, H.2: simultaneous resistance and reactance, Tables H.2 to H.4, approach 1.
TEST(PublishedUncertainty, ResistanceAndReactance) {
  const json::value set = base::json_from_file(data("gum_h2_resistance_reactance.json"));
  std::vector<std::vector<double>> columns;
  std::vector<double> means;
  for (const char* name : {"V", "I", "phi"}) {
    columns.emplace_back();
    for (const json::value& entry : set.at("inputs").at(name).as_array()) {
      columns.back().push_back(entry.to_number<double>());
    }
    means.push_back(signal::mean(columns.back()));
  }
  std::vector<double> matrix(9);
  for (std::size_t i = 0; i < 3; ++i) {
    for (std::size_t j = 0; j < 3; ++j) {
      for (std::size_t k = 0; k < 5; ++k) {
        matrix[i * 3 + j] += (columns[i][k] - means[i]) * (columns[j][k] - means[j]) / 20.0;
      }
    }
  }
  const std::vector<Estimate> x =
      estimates_of({.values = means, .covariance = matrix, .dof = 4.0}, "mean", "#1");
  const auto correlation = [](const Estimate& a, const Estimate& b) {
    return covariance(a, b) / (a.u() * b.u());
  };
  const Estimate cosine =
      propagate([](std::span<const double> p) { return std::cos(p[0]); }, std::span(x).subspan(2));
  const Estimate sine =
      propagate([](std::span<const double> p) { return std::sin(p[0]); }, std::span(x).subspan(2));
  const Estimate impedance = x[0] / x[1];
  const Estimate resistance = impedance * cosine;
  const Estimate reactance = impedance * sine;
  const auto expect = [&set](double got, const std::string& name) {
    EXPECT_NEAR(got / number(set, "/crosscheck/" + name), 1.0, 5e-6) << name;
  };
  expect(resistance.value(), "R");
  expect(reactance.value(), "X");
  expect(impedance.value(), "Z");
  expect(resistance.u(), "u_R");
  expect(reactance.u(), "u_X");
  expect(impedance.u(), "u_Z");
  expect(correlation(x[0], x[1]), "r_V_I");
  expect(correlation(x[0], x[2]), "r_V_phi");
  expect(correlation(x[1], x[2]), "r_I_phi");
  expect(correlation(resistance, reactance), "r_R_X");
  expect(correlation(resistance, impedance), "r_R_Z");
  expect(correlation(reactance, impedance), "r_X_Z");
  EXPECT_NEAR(resistance.u(), number(set, "/expected/u_R"), 0.0005);
  EXPECT_NEAR(impedance.u(), number(set, "/expected/u_Z"), 0.0005);
  EXPECT_NEAR(resistance.dof(), 4.0, 1e-9);
}

// EURACHEM/CITAC Guide CG 4, 3rd ed. (2012), A1: calibration standard.
TEST(PublishedUncertainty, CalibrationStandardSolution) {
  const json::value set = base::json_from_file(data("eurachem_a1_calibration_standard.json"));
  const Estimate mass = input("m", 100.28, 0.05);
  const Estimate purity = input("P", 0.9999, 0.0001 / std::sqrt(3.0));
  const Estimate volume = input("V_flask", 100.0, 0.1 / std::sqrt(6.0)) +
                          input("V_rep", 0.0, 0.02) + input("V_T", 0.0, 0.084 / std::sqrt(3.0));
  const Estimate got = 1000.0 * (mass * purity / volume);
  EXPECT_NEAR(got.value(), number(set, "/expected/c"), 0.05);
  EXPECT_NEAR(got.u() / number(set, "/expected/u_c"), 1.0, 1e-5);
  for (const char* name : {"m", "V_T", "V_flask", "V_rep", "P"}) {
    EXPECT_NEAR(std::abs(got.contributions().at(name).u) /
                    number(set, std::string("/expected/components/") + name),
                1.0, 1e-5)
        << name;
  }
}

// Doebelin and Manik, Measurement Systems, example 3.2 (p. 62): shaft power of a dynamometer.
TEST(PublishedUncertainty, ShaftPower) {
  const json::value set = base::json_from_file(data("shaft_power_dynamometer_doebelin.json"));
  const auto from = [&set](const std::string& name) {
    return input(name, number(set, "/inputs/" + name), number(set, "/inputs/u_" + name));
  };
  const Estimate power =
      (2.0 * 3.14159265358979323846) * (from("R") * from("F") * from("L") / from("t"));
  EXPECT_NEAR(power.u() / number(set, "/expected/rss_uncertainty"), 1.0, 1e-8);
}

// Bachant, Wosnik, Gunawan and Neary, UNH RM2 tow tank experiment, figshare (2016), DOI
// 10.6084/m9.figshare.1373899: measured points with scatter, systematic part, effective degrees of
// freedom and 95 % expanded uncertainty. Systematic parts carry 8 degrees of freedom. Their factor
// for 5.14675389461 degrees of freedom is 1.4e-9 above Student's t (density integrated to check),
// so expanded uncertainties are held to 1e-8 of themselves, 1e-9 in their own unit, and the rest to
// 1e-9 of themselves.
TEST(PublishedUncertainty, TowTankPoints) {
  const base::Table table = base::Table::from_file(data("tow_tank_reduced_1p0_m_s.csv"));
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto cell = [&](const std::string& name) {
      return table.number(row, table.required_column(name));
    };
    const double n = cell("n_revs");
    for (const std::string quantity : {"tsr", "cp", "cd"}) {
      Estimate point(cell("mean_" + quantity));
      point.add("mean#1", {cell("std_" + quantity) / std::sqrt(n), n - 1.0});
      point.add("systematic", {cell("sys_" + quantity), 8.0});
      EXPECT_NEAR(point.dof() / cell("dof_" + quantity), 1.0, 1e-9) << quantity << ", row " << row;
      EXPECT_NEAR(point.expanded() / cell("exp_" + quantity), 1.0, 1e-8)
          << quantity << ", row " << row;
      EXPECT_NEAR(point.expanded(), cell("exp_" + quantity), 1e-9) << quantity << ", row " << row;
    }
  }
}

}  // namespace
}  // namespace windwright::metrology
