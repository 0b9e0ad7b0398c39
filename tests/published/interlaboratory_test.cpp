// SPDX-License-Identifier: Apache-2.0
#include "metrology/interlaboratory.h"

#include "base/json.h"
#include "base/table.h"
#include "metrology/agreement.h"
#include "metrology/critical_values.h"
#include "metrology/outliers.h"
#include "metrology/robust.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <map>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

const std::string data = SOURCE_FOLDER "/tests/published/data/";

std::vector<double> numbers(const json::value& array) {
  std::vector<double> values;
  for (const json::value& entry : array.as_array())
    values.push_back(entry.to_number<double>());
  return values;
}

// Half a unit of the last of so many digits after the point.
double half_digit(int decimals) {
  return 0.5001 * std::pow(10.0, -decimals);
}

// F. E. Grubbs, Procedures for detecting outlying observations in samples, Technometrics 11 (1969)
// 1-21: critical values of G, printed to four digits after the point; the columns "computed" follow
// from Student's t with six.
TEST(PublishedInterlaboratory, CriticalValuesOfGrubbs) {
  const base::Table table = base::Table::from_file(data + "grubbs_critical_values.csv");
  const auto column = [&](std::size_t row, const char* name) {
    return table.number(row, table.required_column(name));
  };
  ASSERT_EQ(table.rows(), 23U);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto n = static_cast<std::size_t>(column(row, "n"));
    const double five = grubbs_critical(n, 0.05, Sides::two);
    const double one = grubbs_critical(n, 0.01, Sides::two);
    EXPECT_NEAR(five, column(row, "table_5pct_two_sided"), 1e-4) << n;
    EXPECT_NEAR(one, column(row, "table_1pct_two_sided"), 1e-4) << n;
    EXPECT_NEAR(five, column(row, "computed_5pct_two_sided"), half_digit(6)) << n;
    EXPECT_NEAR(one, column(row, "computed_1pct_two_sided"), half_digit(6)) << n;
    EXPECT_NEAR(grubbs_critical(n, 0.05, Sides::one), column(row, "computed_5pct_one_sided"),
                half_digit(6))
        << n;
  }
}

// Cochran's C from the F distribution, five digits; ISO 5725-2:1994, Table 4, has the same to three
// (0.680 and 0.794 for p = 8, n = 2; 0.516 and 0.615 for n = 3: from memory).
TEST(PublishedInterlaboratory, CriticalValuesOfCochran) {
  const base::Table table = base::Table::from_file(data + "cochran_critical_values.csv");
  ASSERT_EQ(table.rows(), 55U);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto p = static_cast<std::size_t>(table.number(row, 0));
    const auto n = static_cast<std::size_t>(table.number(row, 1));
    EXPECT_NEAR(cochran_critical(p, n, 0.05), table.number(row, 2), half_digit(5)) << p << ' ' << n;
    EXPECT_NEAR(cochran_critical(p, n, 0.01), table.number(row, 3), half_digit(5)) << p << ' ' << n;
  }
  EXPECT_NEAR(cochran_critical(8, 2, 0.05), 0.680, 0.0005);
  EXPECT_NEAR(cochran_critical(8, 3, 0.01), 0.615, 0.0005);
}

// Mandel's h and k of a group chosen beforehand are Grubbs' G and Cochran's C without the choice of
// the worst of p: at the chance 5 % / p they are those of the published tables at 5 %.
TEST(PublishedInterlaboratory, CriticalValuesOfMandel) {
  EXPECT_NEAR(mandel_h_critical(10, 0.05 / 10), 2.29, 1e-4);    // Grubbs, n = 10, 5 %
  EXPECT_NEAR(mandel_h_critical(30, 0.01 / 30), 3.2361, 1e-4);  // n = 30, 1 %
  const double k = mandel_k_critical(10, 4, 0.05 / 10);
  EXPECT_NEAR(k * k / 10.0, 0.37331, half_digit(5));  // Cochran, p = 10, n = 4, 5 %
  const double other = mandel_k_critical(8, 2, 0.01 / 8);
  EXPECT_NEAR(other * other / 8.0, 0.7945, half_digit(5));  // p = 8, n = 2, 1 %
}

// W. F. Tietjen, R. H. Moore, Some Grubbs-type statistics for the detection of several outliers,
// Technometrics 14 (1972) 583-597, as in NIST/SEMATECH e-Handbook of Statistical Methods,
// 1.3.5.17.1: mass spectrometer readings on a uranium isotope, six digits.
TEST(PublishedInterlaboratory, GrubbsTestOfUraniumReadings) {
  const json::value set = base::json_from_file(data + "grubbs_uranium_mass_spectrometer.json");
  const std::vector<double> values = numbers(set.at_pointer("/inputs/y"));
  const GrubbsTest upper = grubbs(values, End::upper);
  EXPECT_NEAR(upper.g, set.at_pointer("/expected/G").to_number<double>(), half_digit(6));
  EXPECT_NEAR(upper.critical_5pct,
              set.at_pointer("/expected/critical_one_sided_5pct").to_number<double>(),
              half_digit(6));
  EXPECT_EQ(upper.value, set.at_pointer("/expected/outlier").to_number<double>());
  EXPECT_EQ(upper.index, 7U);
  EXPECT_EQ(upper.standing, Standing::outlier);
  const GrubbsTest either = grubbs(values);
  EXPECT_NEAR(either.critical_5pct,
              set.at_pointer("/crosscheck/critical_two_sided").to_number<double>(), 1e-6);
  EXPECT_EQ(grubbs(values, End::lower).standing, Standing::unsuspicious);
}

// B. Rosner, Percentage points for a generalized ESD many-outlier procedure, Technometrics 25
// (1983) 165-172, the 54 values of its example, as in NIST/SEMATECH e-Handbook of Statistical
// Methods, 1.3.5.17.3 (values and results from memory): statistics 3.118, 2.942, 3.179 against
// critical 3.158, 3.151, 3.143: three outliers, though the first alone is not one.
TEST(PublishedInterlaboratory, SuspectsThatHideEachOther) {
  const std::vector<double> values{
      -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
      1.58,  1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
      2.14,  2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
      2.92,  2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01};
  const Suspects found = suspects(values, 10);
  ASSERT_EQ(found.size(), 3U);
  const double g[] = {3.118, 2.942, 3.179};
  const double critical[] = {3.158, 3.151, 3.143};
  const double value[] = {6.01, 5.42, 5.34};
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_NEAR(found[i].g, g[i], 0.001);
    EXPECT_NEAR(found[i].critical_5pct, critical[i], 0.001);
    EXPECT_EQ(found[i].value, value[i]);
    EXPECT_EQ(values[found[i].index], value[i]);
  }
}

std::vector<Cell> glucose(const json::value& set, const std::string& level) {
  std::vector<Cell> cells;
  for (const json::value& values : set.at_pointer("/inputs/values/" + level).as_array()) {
    cells.push_back({.group = "Lab" + std::to_string(cells.size() + 1),
                     .values = numbers(values),
                     .u = std::nullopt});
  }
  return cells;
}

// ASTM E691, glucose in serum, 8 laboratories, 5 materials, 3 results each: the printed summary of
// A, D and E (to the printed digits), and the statistics of all five (recomputed, digits as there).
TEST(PublishedInterlaboratory, RepeatabilityAndReproducibilityOfGlucose) {
  const json::value set = base::json_from_file(data + "astm_e691_glucose.json");
  for (const std::string level : {"A", "B", "C", "D", "E"}) {
    SCOPED_TRACE(level);
    const LevelStudy study = study_level(glucose(set, level));
    const std::map<std::string, double> got{{"mean", study.all.mean},
                                            {"s_of_lab_means", study.all.deviation_of_means},
                                            {"s_r", study.all.repeatability},
                                            {"s_R", study.all.reproducibility},
                                            {"r", study.all.repeatability_limit},
                                            {"R", study.all.reproducibility_limit},
                                            {"r_limit_2.8", study.all.repeatability_limit},
                                            {"R_limit_2.8", study.all.reproducibility_limit}};
    if (const auto* printed = set.at("expected").as_object().if_contains(level)) {
      for (const auto& member : printed->as_object()) {
        const int decimals = member.key() == "r" || member.key() == "R" ? 2
                             : member.key() == "mean" && level != "A"   ? 3
                                                                        : 4;
        EXPECT_NEAR(got.at(std::string(member.key())), member.value().to_number<double>(),
                    half_digit(decimals))
            << member.key();
      }
    }
    const json::value& checked = set.at("crosscheck").at(level);
    for (const char* name : {"mean", "s_of_lab_means", "s_r", "s_R", "r_limit_2.8", "R_limit_2.8"})
      EXPECT_NEAR(got.at(name) / checked.at(name).to_number<double>(), 1.0, 1e-4) << name;
    const std::vector<double> h = numbers(checked.at("mandel_h"));
    const std::vector<double> k = numbers(checked.at("mandel_k"));
    for (std::size_t i = 0; i < h.size(); ++i) {
      EXPECT_NEAR(study.cells[i].h / h[i], 1.0, 5e-4) << i;
      EXPECT_NEAR(study.cells[i].k / k[i], 1.0, 5e-4) << i;
    }
  }
}

// The same set: Cochran's C of the first search. C and E hold an outlier (0.6152 at 1 %), the
// others nothing.
TEST(PublishedInterlaboratory, CochranFindsTheUnevenLaboratoriesOfGlucose) {
  const json::value set = base::json_from_file(data + "astm_e691_glucose.json");
  const std::map<std::string, std::string> uneven{{"C", "Lab4"}, {"E", "Lab2"}};
  for (const std::string level : {"A", "B", "C", "D", "E"}) {
    SCOPED_TRACE(level);
    const std::vector<Cell> cells = glucose(set, level);
    const LevelStudy study = study_level(cells);
    const double c = set.at("crosscheck").at(level).at("cochran_C").to_number<double>();
    if (!uneven.contains(level)) {
      for (const SuspectCell& suspect : study.suspects)
        EXPECT_NE(suspect.test, "Cochran");
      EXPECT_LT(c, cochran_critical(8, 3, 0.05));
      continue;
    }
    ASSERT_FALSE(study.suspects.empty());
    const SuspectCell& first = study.suspects.front();
    EXPECT_EQ(first.test, "Cochran");
    EXPECT_EQ(cells[first.cell].group, uneven.at(level));
    EXPECT_NEAR(first.statistic, c, half_digit(5));
    EXPECT_EQ(first.standing, Standing::outlier);
    ASSERT_TRUE(study.without_outliers);
    EXPECT_LT(study.without_outliers->repeatability, study.all.repeatability);
  }
}

// ISO 5725-5:1998, thermometric titration of creosote oil, means of nine laboratories: robust mean
// and standard deviation by algorithm A (converged), mean to 1e-6, deviation to its printed digits.
TEST(PublishedInterlaboratory, RobustMeanOfCreosote) {
  const json::value set = base::json_from_file(data + "iso5725_5_creosote_robust_mean.json");
  const RobustMean got = algorithm_a(numbers(set.at_pointer("/inputs/laboratory_means")));
  EXPECT_TRUE(got.converged);
  EXPECT_NEAR(got.mean, set.at_pointer("/expected/robust_mean").to_number<double>(), half_digit(4));
  EXPECT_NEAR(got.mean / set.at_pointer("/crosscheck/hubers_R_MASS/mu").to_number<double>(), 1.0,
              1e-6);
  EXPECT_NEAR(got.standard_deviation, set.at_pointer("/expected/robust_sd").to_number<double>(),
              half_digit(4));
}

// J. R. Taylor, An Introduction to Error Analysis, 2nd ed. (1997), section 7.3 (from memory): 11 ±
// 1, 12 ± 1 and 10 ± 3 ohm give 11.42 ± 0.69 ohm.
TEST(PublishedInterlaboratory, WeightedMeanOfThreeResistances) {
  std::vector<Estimate> results;
  for (const auto& [value, u] : {std::pair{11.0, 1.0}, {12.0, 1.0}, {10.0, 3.0}}) {
    results.emplace_back(
        value, std::map<std::string, Contribution>{{std::to_string(value), {u, INFINITY}}});
  }
  const WeightedMean got = weighted_mean(results);
  EXPECT_NEAR(got.mean.value(), 11.42, 0.005);
  EXPECT_NEAR(got.mean.u(), 0.69, 0.005);
  EXPECT_EQ(got.degrees_of_freedom, 2.0);
}

}  // namespace
}  // namespace windwright::metrology
