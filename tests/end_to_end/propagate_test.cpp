// SPDX-License-Identifier: Apache-2.0
// The shipped budget files through the program, against what their sources print. Tolerances: half
// a unit of the last printed digit; of Monte Carlo figures four standard errors of so many trials.
// A figure that is looser says why beside it.
#include "base/json.h"
#include "base/random.h"
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

json::value propagated(const std::string& budget, std::vector<std::string> more = {}) {
  std::vector<std::string> words{
      "propagate", (fs::path(SOURCE_FOLDER) / "examples/budgets" / (budget + ".toml")).string(),
      "--json"};
  words.insert(words.end(), more.begin(), more.end());
  const Ended ended = windwright(words, scratch_folder("propagate"));
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return base::json_from_text(ended.out, "stdout");
}

json::value published(const std::string& name) {
  return base::json_from_file(fs::path(SOURCE_FOLDER) / "tests/published/data" / (name + ".json"));
}

double number(const json::value& document, const std::string& pointer) {
  return document.at_pointer(pointer).to_number<double>();
}

std::map<std::string, double> contributions(const json::value& document,
                                            const std::string& output) {
  std::map<std::string, double> found;
  for (const json::value& row : document.at_pointer("/outputs/" + output + "/budget").as_array())
    found[std::string(row.at("input").as_string())] = number(row, "/contribution");
  return found;
}

const std::vector<std::string> million{"--trials", "1000000"};

// JCGM 100:2008, H.1: Table H.1, H.1.6 and H.1.7; effective degrees of freedom, U and the
// second-order value from memory.
TEST(Propagate, EndGauge) {
  const json::value got = propagated("gum-h1", {"--trials", "200000", "--level-pct", "99"});
  const json::value set = published("gum_h1_end_gauge");
  const std::string l = "/outputs/l";
  EXPECT_NEAR(number(got, l + "/first_order/value"), number(set, "/expected/l"), 0.5);
  EXPECT_NEAR(number(got, l + "/first_order/u"), number(set, "/expected/u_c"), 0.5);
  EXPECT_EQ(std::floor(number(got, l + "/first_order/dof")), number(set, "/expected/nu_eff"));
  // The guide cuts 16.6 degrees of freedom down to 16, and takes 2.92 where the program takes what
  // lies between that and the 2.90 of 17 (Table G.2): 92.1 beside 93.
  EXPECT_NEAR(number(got, l + "/first_order/u") * number(set, "/expected/k_99"),
              number(set, "/expected/U_99"), 0.5);
  const double factor =
      number(got, l + "/first_order/expanded") / number(got, l + "/first_order/u");
  EXPECT_GT(factor, 2.895);
  EXPECT_LT(factor, 2.925);
  EXPECT_NEAR(number(got, l + "/second_order/u"),
              number(set, "/expected/u_c_with_second_order_terms"), 0.5);
  EXPECT_NEAR(number(got, l + "/second_order/u") / number(set, "/crosscheck/u_c_second_order"), 1.0,
              3e-3);  // the source rounds u(theta) from 0.403 up to 0.41
  const auto parts = contributions(got, "l");
  EXPECT_NEAR(parts.at("l_S"), 25.0, 0.05);
  EXPECT_NEAR(std::sqrt(std::pow(parts.at("d_repeated"), 2) + std::pow(parts.at("d_random"), 2) +
                        std::pow(parts.at("d_systematic"), 2)),
              9.7, 0.05);
  EXPECT_NEAR(parts.at("delta_alpha"), 2.9, 0.05);
  // The budget's 0.029 is the guide's own rounding of 0.05/sqrt(3), from which it prints 16.6.
  EXPECT_NEAR(parts.at("delta_theta") / 0.029 * 0.05 / std::sqrt(3.0), 16.6, 0.05);
}

// JCGM 100:2008, H.2: Tables H.3 and H.4.
TEST(Propagate, ResistanceAndReactance) {
  const json::value got = propagated("gum-h2", {"--trials", "100000"});
  const json::value set = published("gum_h2_resistance_reactance");
  for (const std::string name : {"R", "X", "Z"}) {
    const std::string at = "/outputs/" + name + "/first_order";
    EXPECT_NEAR(number(got, at + "/value") / number(set, "/crosscheck/" + name), 1.0, 5e-6);
    EXPECT_NEAR(number(got, at + "/u") / number(set, "/crosscheck/u_" + name), 1.0, 5e-6);
    EXPECT_NEAR(number(got, at + "/value"), number(set, "/expected/" + name), 0.0005);
    // u(X), 0.29558, is printed cut off, not rounded.
    const double u = number(got, at + "/u");
    EXPECT_NEAR(name == "X" ? std::floor(1000.0 * u) / 1000.0 : u,
                number(set, "/expected/u_" + name), 0.0005);
    EXPECT_NEAR(number(got, at + "/dof"), 4.0, 1e-9);
  }
  EXPECT_NEAR(number(got, "/correlation/0/1"), number(set, "/expected/r_R_X"), 0.0005);
  EXPECT_NEAR(number(got, "/correlation/0/2"), number(set, "/expected/r_R_Z"), 0.0005);
  EXPECT_NEAR(number(got, "/correlation/1/2"), number(set, "/expected/r_X_Z"), 0.0005);
  for (const json::value& row : got.at_pointer("/outputs/R/budget").as_array()) {
    const std::string name(row.at("input").as_string());
    const double half = name == "V" ? 5e-5 : name == "I" ? 5e-8 : 5e-6;
    EXPECT_NEAR(number(row, "/u"), number(set, "/expected/u_" + name), half);
  }
}

// JCGM 100:2008, H.3: the correction at 30 degC, H.3.4, and the reference's common part, H.3.5.
TEST(Propagate, ThermometerCorrection) {
  const json::value got = propagated("gum-h3", {"--trials", "100000"});
  const json::value set = published("gum_h3_thermometer_line");
  const std::string b = "/outputs/b_30/first_order";
  EXPECT_NEAR(number(got, b + "/value"), number(set, "/expected/b_30"), 5e-5);
  EXPECT_NEAR(number(got, b + "/u"), number(set, "/expected/u_b_30"), 5e-5);
  EXPECT_NEAR(number(got, b + "/u") / number(set, "/crosscheck/u_b_30"), 1.0, 2e-5);
  EXPECT_NEAR(number(got, b + "/dof"), number(set, "/expected/dof"), 1e-9);
  const std::string y1 = "/outputs/y1_traceable/first_order";
  EXPECT_NEAR(number(got, y1 + "/u") / number(set, "/extension/expected/u_y1"), 1.0, 1e-7);
  EXPECT_NEAR(number(got, y1 + "/dof"), number(set, "/extension/expected/dof_y1"), 0.005);
}

// JCGM 101:2008, 9.2, Tables 2 to 4, printed figures from memory; `exact` from the distributions.
TEST(Propagate, AdditiveModels) {
  const json::value set = published("jcgm101_additive_model");
  const std::vector<std::string> names{"normal", "rectangular", "wide"};
  for (std::size_t k = 0; k < names.size(); ++k) {
    SCOPED_TRACE(names[k]);
    const json::value got = propagated("jcgm101-additive-" + names[k], million);
    const json::value& of = set.at("cases").as_array().at(k);
    const double allowed = k == 2 ? 0.03 : 0.01;
    EXPECT_NEAR(number(got, "/outputs/Y/first_order/u"), number(of, "/u"), 1e-6);
    EXPECT_NEAR(number(got, "/outputs/Y/monte_carlo/u") / number(of, "/u"), 1.0, 0.002);
    const std::string trials = "/outputs/Y/monte_carlo/interval_95_";
    for (const std::string end : {"/0", "/1"})
      EXPECT_NEAR(number(got, trials + "symmetric" + end), number(of, "/exact" + end), allowed);
    // Where the shortest interval begins is loose; how wide it is, is not.
    EXPECT_NEAR(number(got, trials + "shortest/1") - number(got, trials + "shortest/0"),
                number(of, "/exact/1") - number(of, "/exact/0"), 2.0 * allowed);
  }
  const json::value wide = propagated("jcgm101-additive-wide", million);
  EXPECT_NEAR(number(wide, "/outputs/Y/first_order/expanded_95"), 19.9, 0.05);
  EXPECT_FALSE(wide.at_pointer("/outputs/Y/first_order_validated").as_bool());
  EXPECT_TRUE(propagated("jcgm101-additive-normal", million)
                  .at_pointer("/outputs/Y/first_order_validated")
                  .as_bool());
}

// JCGM 101:2008, 9.3, Tables 5 and 6: inputs and printed figures from memory; `crosscheck` from 2e7
// trials of another program.
TEST(Propagate, MassCalibration) {
  const json::value got = propagated("jcgm101-mass-calibration", million);
  const json::value set = published("jcgm101_mass_calibration");
  const std::string m = "/outputs/delta_m";
  EXPECT_NEAR(number(got, m + "/first_order/value"), 1.2340, 5e-5);
  EXPECT_NEAR(number(got, m + "/first_order/u"), 0.0539, 5e-5);
  EXPECT_NEAR(number(got, m + "/first_order/interval_95/0"), 1.1285, 5e-5);
  EXPECT_NEAR(number(got, m + "/first_order/interval_95/1"), 1.3395, 5e-5);
  EXPECT_NEAR(number(got, m + "/second_order/u"), 0.0750, 5e-5);
  // Printed from u rounded to 0.0750, 1.96 times half a unit of its last digit off.
  EXPECT_NEAR(number(got, m + "/second_order/interval_95/0"), 1.0870, 1e-4);
  EXPECT_NEAR(number(got, m + "/second_order/interval_95/1"), 1.3810, 1e-4);
  // Standard errors of a million trials: mean 0.75e-4, u 0.5e-4; printed from as many again.
  EXPECT_NEAR(number(got, m + "/monte_carlo/value"), number(set, "/expected/monte_carlo/y"), 3e-4);
  EXPECT_NEAR(number(got, m + "/monte_carlo/u"), number(set, "/expected/monte_carlo/u"), 2e-4);
  EXPECT_NEAR(number(got, m + "/monte_carlo/u"), number(set, "/crosscheck/u"), 2e-4);
  EXPECT_LE(number(got, m + "/monte_carlo/numerical_tolerance"), 0.0005);
  for (const std::string end : {"/0", "/1"}) {
    // Both ends of a shortest interval slide together: its length is flat there, so they are loose
    // by twice what a quantile is; the printed ones, of so many trials again, by more.
    const double at = number(got, m + "/monte_carlo/interval_95_shortest" + end);
    EXPECT_NEAR(at, number(set, "/crosscheck/shortest_95" + end), 0.001);
    EXPECT_NEAR(at, number(set, "/expected/monte_carlo/shortest_95" + end), 0.0015);
  }
  EXPECT_FALSE(got.at_pointer(m + "/first_order_validated").as_bool());
  EXPECT_TRUE(got.at_pointer(m + "/second_order_matters").as_bool());
}

// JCGM 101:2008, 9.4, Tables 6 to 8; all in 1e-6. Printed Monte Carlo figures from memory; mean and
// u in closed form; the other intervals from 2e7 trials of another program.
TEST(Propagate, ComparisonLoss) {
  const json::value set = published("jcgm101_comparison_loss");
  for (const json::value& one : set.at("cases").as_array()) {
    const std::string name = "jcgm101-comparison-loss-" +
                             std::to_string(std::lround(1000.0 * number(one, "/x1"))) +
                             (number(one, "/r") == 0.0 ? "-independent" : "-correlated");
    SCOPED_TRACE(name);
    const json::value got = propagated(name, million);
    const auto at = [&got](const std::string& where) {
      return 1e6 * number(got, "/outputs/Y/" + where);
    };
    EXPECT_NEAR(at("first_order/value"), number(one, "/gum_first_order/y"), 1e-6);
    EXPECT_NEAR(at("first_order/u"), number(one, "/gum_first_order/u"), 1e-6);
    // A quadratic equation of normal inputs: second order is exact.
    EXPECT_NEAR(at("second_order/value"), number(one, "/mean_exact"), 1e-6);
    EXPECT_NEAR(at("second_order/u"), number(one, "/u_exact"), 5e-4);
    // Four standard errors; that of u where the fourth moment is largest (14.9 variances squared,
    // x1 = 0 and r = 0.9) is 0.19 %.
    EXPECT_NEAR(at("monte_carlo/value"), number(one, "/mean_exact"),
                0.004 * number(one, "/u_exact"));
    EXPECT_NEAR(at("monte_carlo/u") / number(one, "/u_exact"), 1.0, 0.0075);
    const double four = 2.0 * at("monte_carlo/numerical_tolerance");
    EXPECT_LE(four, 0.04 * number(one, "/u_exact"));
    for (const std::string end : {"/0", "/1"}) {
      const auto near = [&](const std::string& field, const std::string& reference,
                            double tolerance) {
        EXPECT_NEAR(at("monte_carlo/" + field + end), number(one, "/" + reference + end), tolerance)
            << field << " " << reference;
      };
      const double symmetric = number(one, "/symmetric_95_mc" + end);
      // Near 0 trials lie so close that the lower end is known to 3 %; the reference has 4 digits.
      near("interval_95_symmetric", "symmetric_95_mc",
           std::min(four, 0.03 * symmetric) + 5e-4 * symmetric);
      // A shortest interval's ends slide together and are loose, but where it begins at 0.
      const double shortest = number(one, "/shortest_95_mc" + end);
      near("interval_95_shortest", "shortest_95_mc",
           shortest < 1.0 ? 0.01 : 3.0 * four + 5e-4 * shortest);
      near("interval_95_shortest", "printed_monte_carlo/shortest_95",
           shortest < 1.0 ? 0.5 : 3.0 * four + 0.5);
    }
    // The width is known as well as the quantiles are: four standard errors are up to 1 % of it.
    const double width =
        at("monte_carlo/interval_95_shortest/1") - at("monte_carlo/interval_95_shortest/0");
    EXPECT_NEAR(width / (number(one, "/shortest_95_mc/1") - number(one, "/shortest_95_mc/0")), 1.0,
                0.01);
    EXPECT_FALSE(got.at_pointer("/outputs/Y/first_order_validated").as_bool());
  }
}

// EURACHEM/CITAC Guide CG 4, 3rd ed. (2012), A1.
TEST(Propagate, CalibrationStandard) {
  const json::value got = propagated("eurachem-a1", {"--trials", "100000"});
  const json::value set = published("eurachem_a1_calibration_standard");
  EXPECT_NEAR(number(got, "/outputs/c/first_order/value"), number(set, "/expected/c"), 0.05);
  EXPECT_NEAR(number(got, "/outputs/c/first_order/u") / number(set, "/expected/u_c"), 1.0, 1e-5);
  const auto parts = contributions(got, "c");
  const std::map<std::string, std::string> names{{"m", "m"},
                                                 {"P", "P"},
                                                 {"V_flask", "V_flask"},
                                                 {"V_repeatability", "V_rep"},
                                                 {"V_temperature", "V_T"}};
  for (const auto& [ours, theirs] : names)
    EXPECT_NEAR(parts.at(ours) / number(set, "/expected/components/" + theirs), 1.0, 1e-5) << ours;
}

// Doebelin and Manik, Measurement Systems, example 3.2 (p. 62).
TEST(Propagate, DynamometerPower) {
  const json::value got = propagated("dynamometer-power", {"--trials", "100000"});
  const json::value set = published("shaft_power_dynamometer_doebelin");
  EXPECT_NEAR(
      number(got, "/outputs/power/first_order/u") / number(set, "/expected/rss_uncertainty"), 1.0,
      1e-8);
  EXPECT_NEAR(number(got, "/outputs/power/first_order/value") / number(set, "/crosscheck/W"), 1.0,
              1e-8);
  for (const json::value& row : got.at_pointer("/outputs/power/budget").as_array()) {
    if (row.at("input").as_string() != "F") continue;
    EXPECT_NEAR(number(row, "/sensitivity") / number(set, "/expected/dW_dF"), 1.0, 1e-8);
  }
}

// G. D. Rai, Non-conventional Energy Sources, example 6.2.1; it takes 1.226 for the density and
// 3.14 for pi here and there.
TEST(Propagate, WindTextbookExample) {
  const json::value got = propagated("wind-textbook", {"--trials", "10000"});
  const json::value set = published("wind_textbook_rai_6_2_1");
  const std::map<std::string, std::string> names{{"density_kg_m3", "rho"},
                                                 {"wind_W_m2", "power_density"},
                                                 {"largest_W_m2", "max_power_density"},
                                                 {"electric_W_m2", "electric_power_density"},
                                                 {"power_kW", "total_power_kW"},
                                                 {"torque_N_m", "torque_at_max_efficiency_Nm"},
                                                 {"thrust_N", "max_axial_thrust_N"}};
  for (const auto& [ours, theirs] : names)
    EXPECT_NEAR(
        number(got, "/outputs/" + ours + "/first_order/value") / number(set, "/expected/" + theirs),
        1.0, 1e-3)
        << ours;
}

// The square of Student's t with nu degrees of freedom has the F-distribution of 1 and nu: a mean
// above 2, a variance above 4 degrees of freedom; t itself above 1 and 2 (JCGM 101:2008, 6.4.9.4);
// exp(t) has neither with any (its integral diverges).
TEST(Propagate, StatesNoMomentThatTheTailsTakeAway) {
  const fs::path folder = scratch_folder("propagate-tails");
  struct Case {
    const char* equation;
    const char* dof;
    bool mean;
    bool u;
  };
  for (const Case& one :
       {Case{"x^2", "1", false, false}, Case{"x^2", "2", false, false},
        Case{"x^2", "3", true, false}, Case{"x^2", "4", true, false},
        Case{"x^2", "4.1", true, true}, Case{"x", "1", false, false},
        Case{"3*x + 2", "2", true, false}, Case{"x", "2.1", true, true},
        Case{"x^2 / (1 + x^2)", "3", true, true}, Case{"exp(x)", "30", false, false},
        Case{"x^3 / (2 + x^2)", "3", true, true}}) {
    SCOPED_TRACE(std::string(one.equation) + ", " + one.dof);
    write_text(folder / "tails.toml",
               fmt::format("schema = 1\n[output]\ny = \"{}\"\n[input.x]\nvalue = 1\n"
                           "standard_uncertainty = 0.2\ndegrees_of_freedom = {}\n",
                           one.equation, one.dof));
    const Ended ended =
        windwright({"propagate", "tails.toml", "--trials", "10000", "--json"}, folder);
    ASSERT_EQ(ended.exit_code, 0) << ended.err;
    const json::value trials =
        base::json_from_text(ended.out, "stdout").at_pointer("/outputs/y/monte_carlo");
    EXPECT_EQ(trials.at("value").is_null(), !one.mean);
    EXPECT_EQ(trials.at("u").is_null(), !one.u);
    EXPECT_EQ(trials.at("no_moments").is_null(), one.u) << trials.at("no_moments");
    EXPECT_FALSE(trials.at_pointer("/interval_95_symmetric/0").is_null());
  }
}

// sqrt(|x|) has no derivative at 0, and 1/x no mean where x passes 0: what does not exist is said
// to be none, of others all is there.
TEST(Propagate, SaysNoneWhereThereIsNoDerivativeOrMoment) {
  const fs::path folder = scratch_folder("propagate-none");
  write_text(folder / "b.toml",
             "schema = 1\n[output]\ny = \"sqrt(abs(x))\"\nz = \"x + 2\"\nw = \"3 * x\"\nq = "
             "\"1 / (x + 0.1)\"\n[input.x]\nvalue = 0\ndistribution = \"rectangular\"\n"
             "half_width = 0.5\n");
  const Ended text = windwright({"propagate", "b.toml", "--trials", "10000"}, folder);
  EXPECT_EQ(text.exit_code, 0) << text.err;
  EXPECT_NE(text.out.find("y, z: none; "), text.out.npos) << text.out;
  for (const char* never : {"nan", "inf", "none %"})
    EXPECT_EQ(text.out.find(never), text.out.npos) << never << text.out;
  EXPECT_NE(text.out.find("z, q: -1.000; none"), text.out.npos) << text.out;
  const Ended ended = windwright({"propagate", "b.toml", "--trials", "10000", "--json"}, folder);
  const json::value got = base::json_from_text(ended.out, "stdout");
  EXPECT_TRUE(got.at_pointer("/correlation/0/1").is_null());
  EXPECT_TRUE(got.at_pointer("/correlation_monte_carlo/1/3").is_null());
  EXPECT_NEAR(got.at_pointer("/correlation_monte_carlo/1/2").to_number<double>(), 1.0, 1e-9);
  EXPECT_TRUE(got.at_pointer("/outputs/q/monte_carlo/u").is_null());
}

// Bachant, Wosnik, Gunawan and Neary, UNH RM2 tow tank experiment, figshare (2016), DOI
// 10.6084/m9.figshare.1373899: each measured point's combined uncertainty from its scatter over n
// revolutions and its systematic part (8 degrees of freedom), effective degrees of freedom, and
// 95 % expanded uncertainty; 1e-9 in its own unit. The printed degrees of freedom have 12 digits.
TEST(Propagate, TowTankPoints) {
  const base::Table table = base::Table::from_file(
      fs::path(SOURCE_FOLDER) / "tests/published/data/tow_tank_reduced_1p0_m_s.csv");
  const fs::path folder = scratch_folder("propagate-tow-tank");
  const std::string quantities[] = {"tsr", "cp", "cd"};
  std::string outputs = "schema = 1\n[output]\n";
  std::string inputs;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    for (const std::string& quantity : quantities) {
      const auto text = [&](const char* kind) {
        return table.text(row, table.required_column(kind + quantity));
      };
      const double n = table.number(row, table.required_column("n_revs"));
      outputs += fmt::format("{0}_{1} = \"mean_{0}_{1} + off_{0}_{1}\"\n", quantity, row);
      inputs += fmt::format(
          "[input.mean_{0}_{1}]\nvalue = {2}\nstandard_uncertainty = {3}\n"
          "degrees_of_freedom = {4}\n[input.off_{0}_{1}]\nvalue = 0.0\n"
          "standard_uncertainty = {5}\ndegrees_of_freedom = 8\n",
          quantity, row, text("mean_"), std::stod(text("std_")) / std::sqrt(n), n - 1.0,
          text("sys_"));
    }
  }
  write_text(folder / "tow.toml", outputs + inputs);
  const Ended ended = windwright({"propagate", "tow.toml", "--trials", "10000", "--json"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value got = base::json_from_text(ended.out, "stdout");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    for (const std::string& quantity : quantities) {
      const auto printed = [&](const char* kind) {
        return table.number(row, table.required_column(kind + quantity));
      };
      const json::value& first =
          got.at("outputs").at(fmt::format("{}_{}", quantity, row)).at("first_order");
      EXPECT_NEAR(first.at("expanded_95").to_number<double>(), printed("exp_"), 1e-9) << quantity;
      EXPECT_NEAR(first.at("dof").to_number<double>() / printed("dof_"), 1.0, 1e-9) << quantity;
    }
  }
}

// No outside figures needed: by definition a Cauchy variable has neither mean nor variance, and 1/x
// none where x reaches 0.
TEST(Propagate, StatesAndValidatesNothingThatDoesNotExist) {
  const fs::path folder = scratch_folder("propagate-none");
  const std::string input = "[input.x]\nvalue = 1\nstandard_uncertainty = 0.5\n";
  write_text(folder / "inverse.toml", "schema = 1\n[output]\ny = \"1/x\"\n" + input);
  write_text(folder / "cauchy.toml",
             "schema = 1\n[output]\ny = \"x\"\n" + input + "degrees_of_freedom = 0.5\n");
  const auto answer = [&](const std::string& file) {
    const Ended ended = windwright({"propagate", file, "--trials", "100000", "--json"}, folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    return base::json_from_text(ended.out, "stdout");
  };
  const json::value inverse = answer("inverse.toml");
  EXPECT_FALSE(inverse.at_pointer("/outputs/y/first_order_validated").as_bool());
  EXPECT_EQ(number(inverse, "/outputs/y/first_order_check/tolerance"), 0.005);
  const json::value cauchy = answer("cauchy.toml");
  EXPECT_TRUE(cauchy.at_pointer("/outputs/y/monte_carlo/value").is_null());
  EXPECT_TRUE(cauchy.at_pointer("/outputs/y/monte_carlo/u").is_null());
  const Ended text =
      windwright({"propagate", "cauchy.toml", "--trials", "100000", "--chart", "c.svg"}, folder);
  EXPECT_EQ(text.exit_code, 0) << text.err;
  EXPECT_NE(text.out.find("neither a mean nor a standard uncertainty exists"), std::string::npos)
      << text.out;
  EXPECT_EQ(text.out.find("nan"), std::string::npos) << text.out;
}

TEST(Propagate, PrintsAnswersBudgetAndAdvice) {
  const Ended ended = windwright(
      {"propagate", SOURCE_FOLDER "/examples/saltmarsh-college/budget.toml", "--trials", "100000"},
      scratch_folder("propagate-text"));
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  for (const char* words : {"first order", "second order", "Monte Carlo", "First order validated",
                            "sensitivity", "Improve first: pitot_factor", "100000 trials, seed 1"})
    EXPECT_NE(ended.out.find(words), std::string::npos) << words;
}

TEST(Propagate, SameSeedSameBytes) {
  const std::vector<std::string> words{"propagate", SOURCE_FOLDER "/examples/budgets/gum-h1.toml",
                                       "--json",    "--trials",
                                       "20000",     "--seed",
                                       "42"};
  const fs::path folder = scratch_folder("propagate-seed");
  const std::string first = windwright(words, folder).out;
  EXPECT_EQ(windwright(words, folder).out, first);
  std::vector<std::string> other = words;
  other.back() = "43";
  EXPECT_NE(windwright(other, folder).out, first);
}

// An autoregressive series of 400 with coefficient 0.9: independent readings of the same scatter
// would be worth sqrt((1 + 0.9)/(1 - 0.9)) = 4.4 times less uncertainty.
TEST(Propagate, SaysWhenReadingsFollowEachOther) {
  const fs::path folder = scratch_folder("propagate-series");
  std::string rows = "v\n";
  const base::RandomStream random(4, "series");
  double value = 0.0;
  for (std::uint64_t n = 0; n < 400; ++n) {
    value = 0.9 * value + random.normal(n);
    rows += std::to_string(7.0 + value) + "\n";
  }
  write_text(folder / "v.csv", rows);
  const std::string budget =
      "schema = 1\n[output]\ny = \"2 * v\"\n[input.v]\ndata = \"v.csv\"\n"
      "[input.w]\nvalue = 1\nstandard_uncertainty = 1\n";
  write_text(folder / "plain.toml", budget);
  std::string timed = budget;
  timed.insert(timed.find("[input.w]"), "correlated_in_time = true\n");
  write_text(folder / "timed.toml", timed);
  const auto answer = [&](const std::string& file) {
    const Ended ended = windwright({"propagate", file, "--trials", "1000", "--json"}, folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    return base::json_from_text(ended.out, "stdout");
  };
  const json::value plain = answer("plain.toml");
  const json::value counted = answer("timed.toml");
  EXPECT_NE(plain.at("remarks").as_array().at(0).as_string().find("follow each other"),
            std::string::npos);
  EXPECT_EQ(plain.at("remarks").as_array().at(1).as_string(), "No equation depends on w.");
  EXPECT_EQ(counted.at("remarks").as_array().at(0).as_string(), "No equation depends on w.");
  const double ratio =
      number(counted, "/outputs/y/first_order/u") / number(plain, "/outputs/y/first_order/u");
  EXPECT_GT(ratio, 3.0);
  EXPECT_LT(ratio, 6.0);
}

TEST(Propagate, RefusesBadOptions) {
  const std::string budget = SOURCE_FOLDER "/examples/budgets/gum-h1.toml";
  for (const std::vector<std::string>& more : {std::vector<std::string>{"--trials", "5"},
                                               {"--trials", "1e3.5"},
                                               {"--level-pct", "100"},
                                               {"--seed", "-1"},
                                               {"--digits", "1.5"},
                                               {"--trials", "1000000000000"}}) {
    std::vector<std::string> words{"propagate", budget};
    words.insert(words.end(), more.begin(), more.end());
    const Ended ended = windwright(words, scratch_folder("propagate-options"));
    EXPECT_EQ(ended.exit_code, 2) << more[1];
    EXPECT_EQ(ended.out, "");
    EXPECT_EQ(std::count(ended.err.begin(), ended.err.end(), '\n'), 1) << ended.err;
  }
}

}  // namespace
}  // namespace windwright::end_to_end
