// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <map>
#include <string>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

const fs::path published = fs::path(SOURCE_FOLDER) / "tests/published/data";

json::value compared(const std::vector<std::string>& arguments, const fs::path& folder, int code) {
  std::vector<std::string> all{"compare", "--json"};
  all.insert(all.end(), arguments.begin(), arguments.end());
  const Ended ended = windwright(all, folder);
  EXPECT_EQ(ended.exit_code, code) << ended.err;
  return base::json_from_text(ended.out, "stdout");
}

std::string glucose_csv(const json::value& set) {
  std::string csv = "group,level,value\n";
  for (const auto& level : set.at_pointer("/inputs/values").as_object()) {
    int laboratory = 0;
    for (const json::value& values : level.value().as_array()) {
      ++laboratory;
      for (const json::value& value : values.as_array())
        csv += fmt::format("Lab{},{},{}\n", laboratory, std::string(level.key()),
                           value.to_number<double>());
    }
  }
  return csv;
}

// ASTM E691, glucose in serum: the printed summary of the materials A, D and E.
TEST(Compare, GivesThePrintedPrecisionOfGlucose) {
  const json::value set = base::json_from_file(published / "astm_e691_glucose.json");
  const fs::path folder = scratch_folder("compare-glucose");
  write_text(folder / "glucose.csv", glucose_csv(set));
  const json::value got = compared({"glucose.csv"}, folder, 1);  // C and E have an outlier
  const std::map<std::string, std::string> names{{"mean", "mean"},
                                                 {"s_of_lab_means", "deviation_of_means"},
                                                 {"s_r", "repeatability"},
                                                 {"s_R", "reproducibility"},
                                                 {"r", "repeatability_limit"},
                                                 {"R", "reproducibility_limit"}};
  int checked = 0;
  for (const json::value& level : got.at("levels").as_array()) {
    const auto* printed = set.at("expected").as_object().if_contains(level.at("level").as_string());
    if (printed == nullptr) continue;
    for (const auto& member : printed->as_object()) {
      const std::string key(member.key());
      const double half_digit = key == "r" || key == "R" ? 0.005 : key == "mean" ? 0.0005 : 0.00005;
      EXPECT_NEAR(level.at(names.at(key)).to_number<double>(), member.value().to_number<double>(),
                  half_digit)
          << level.at("level") << key;
      ++checked;
    }
  }
  EXPECT_EQ(checked, 18);
}

const json::value* test_of(const json::value& level, const char* name) {
  for (const json::value& test : level.at("tests").as_array()) {
    if (test.at("test").as_string() == name) return &test;
  }
  return nullptr;
}

// The same set: Cochran's C of every material's largest variance, to five digits.
TEST(Compare, GivesCochransStatisticOfGlucose) {
  const json::value set = base::json_from_file(published / "astm_e691_glucose.json");
  const fs::path folder = scratch_folder("compare-glucose-cochran");
  write_text(folder / "glucose.csv", glucose_csv(set));
  const json::value got = compared({"glucose.csv"}, folder, 1);
  for (const json::value& level : got.at("levels").as_array()) {
    const double c =
        set.at("crosscheck").at(level.at("level").as_string()).at("cochran_C").to_number<double>();
    EXPECT_NEAR(test_of(level, "Cochran")->at("statistic").to_number<double>(), c, 0.501e-5);
  }
}

// Groups without an outlier, p of n repeats each: means and spreads alternate.
std::string even_groups(const std::string& level, int p, int n) {
  std::string csv;
  for (int group = 0; group < p; ++group) {
    for (int i = 0; i < n; ++i)
      csv += fmt::format("{},{},{}\n", group, level, group % 3 + (i % 2 == 0 ? 0.1 : -0.1));
  }
  return csv;
}

// Cochran's table, computed from the F distribution to five digits outside this project, which
// ISO 5725-2:1994, Table 4, has to three.
TEST(Compare, PrintsTheCriticalValuesOfCochransTable) {
  const fs::path folder = scratch_folder("compare-cochran");
  const base::Table table = base::Table::from_file(published / "cochran_critical_values.csv");
  std::string csv = "group,level,value\n";
  for (std::size_t row = 0; row < table.rows(); ++row)
    csv +=
        even_groups(table.text(row, 0) + " by " + table.text(row, 1),
                    static_cast<int>(table.number(row, 0)), static_cast<int>(table.number(row, 1)));
  write_text(folder / "even.csv", csv);
  const json::value got = compared({"even.csv"}, folder, 0);
  ASSERT_EQ(got.at("levels").as_array().size(), table.rows());
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const json::value& level = got.at("levels").at(row);
    const json::value* cochran = test_of(level, "Cochran");
    ASSERT_NE(cochran, nullptr) << level.at("level");
    EXPECT_NEAR(cochran->at("critical_5pct").to_number<double>(), table.number(row, 2), 0.501e-5);
    EXPECT_NEAR(cochran->at("critical_1pct").to_number<double>(), table.number(row, 3), 0.501e-5);
    EXPECT_EQ(cochran->at("standing").as_string(), "unsuspicious");
  }
}

// F. E. Grubbs, Technometrics 11 (1969) 1-21, two-sided.
TEST(Compare, PrintsTheCriticalValuesOfGrubbsTable) {
  const fs::path folder = scratch_folder("compare-grubbs");
  const base::Table table = base::Table::from_file(published / "grubbs_critical_values.csv");
  std::string csv = "group,level,value\n";
  for (std::size_t row = 0; row < table.rows(); ++row)
    csv += even_groups(table.text(row, 0), static_cast<int>(table.number(row, 0)), 2);
  write_text(folder / "even.csv", csv);
  const json::value got = compared({"even.csv"}, folder, 0);
  ASSERT_EQ(got.at("levels").as_array().size(), table.rows());
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const json::value* grubbs = test_of(got.at("levels").at(row), "Grubbs");
    ASSERT_NE(grubbs, nullptr);
    const auto column = [&](const char* name) {
      return table.number(row, table.required_column(name));
    };
    EXPECT_NEAR(grubbs->at("critical_5pct").to_number<double>(), column("table_5pct_two_sided"),
                1e-4);
    EXPECT_NEAR(grubbs->at("critical_1pct").to_number<double>(), column("table_1pct_two_sided"),
                1e-4);
    EXPECT_NEAR(grubbs->at("critical_5pct").to_number<double>(), column("computed_5pct_two_sided"),
                1e-6);
  }
}

// W. F. Tietjen, R. H. Moore, Technometrics 14 (1972) 583-597: the uranium readings as eight groups
// of one value each.
TEST(Compare, FindsThePublishedOutlierOfUranium) {
  const json::value set = base::json_from_file(published / "grubbs_uranium_mass_spectrometer.json");
  const fs::path folder = scratch_folder("compare-uranium");
  std::string csv = "group,level,value\n";
  int group = 0;
  for (const json::value& value : set.at_pointer("/inputs/y").as_array())
    csv += fmt::format("{},U,{}\n", ++group, value.to_number<double>());
  write_text(folder / "uranium.csv", csv);
  const json::value got = compared({"uranium.csv"}, folder, 1);
  const json::value& test = got.at_pointer("/levels/0/suspects/0");
  EXPECT_NEAR(test.at("statistic").to_number<double>(),
              set.at_pointer("/expected/G").to_number<double>(), 0.5e-6);
  EXPECT_NEAR(test.at("critical_5pct").to_number<double>(),
              set.at_pointer("/crosscheck/critical_two_sided").to_number<double>(), 1e-6);
  EXPECT_EQ(test.at("group").as_string(), "8");
  EXPECT_EQ(test.at("standing").as_string(), "outlier");
}

// ISO 5725-5:1998, creosote oil.
TEST(Compare, GivesTheRobustMeanOfCreosote) {
  const json::value set = base::json_from_file(published / "iso5725_5_creosote_robust_mean.json");
  const fs::path folder = scratch_folder("compare-creosote");
  std::string csv = "group,level,value\n";
  int laboratory = 0;
  for (const json::value& value : set.at_pointer("/inputs/laboratory_means").as_array())
    csv += fmt::format("{},titration,{}\n", ++laboratory, value.to_number<double>());
  write_text(folder / "creosote.csv", csv);
  const Ended ended = windwright({"compare", "--json", "creosote.csv"}, folder);
  const json::value got = base::json_from_text(ended.out, "stdout");
  const json::value& robust = got.at_pointer("/levels/0/robust");
  EXPECT_NEAR(robust.at("mean").to_number<double>(),
              set.at_pointer("/expected/robust_mean").to_number<double>(), 0.00005);
  EXPECT_NEAR(robust.at("standard_deviation").to_number<double>(),
              set.at_pointer("/expected/robust_sd").to_number<double>(), 0.00005);
  EXPECT_TRUE(got.at_pointer("/levels/0/repeatability").is_null()) << "no repeats";
}

TEST(Compare, NamesWhoStandsOutInTheClassOfThirty) {
  const fs::path folder = scratch_folder("compare-class");
  const std::string file =
      (fs::path(SOURCE_FOLDER) / "examples/class-of-thirty/groups.csv").string();
  const json::value got = compared({file, "--reference", "technician"}, folder, 1);
  const json::array& levels = got.at("levels").as_array();
  ASSERT_EQ(levels.size(), 2U);
  EXPECT_EQ(json::serialize(levels[0].at("outliers")), R"(["team 11"])");
  EXPECT_EQ(json::serialize(levels[1].at("outliers")), R"(["team 19","team 23"])");
  for (const json::value& level : levels) {
    EXPECT_EQ(level.at("cells").as_array().size(), 30U) << "nobody is left out silently";
    EXPECT_EQ(level.at("groups").to_number<int>(), 30);
    EXPECT_EQ(level.at("assigned").at("basis").as_string(), "reference technician");
  }
  const Ended text = windwright({"compare", file}, folder);
  EXPECT_EQ(text.exit_code, 1);
  EXPECT_NE(text.out.find("without team 19, team 23"), std::string::npos) << text.out;
}

const std::string afternoons = (fs::path(SOURCE_FOLDER) / "examples/two-afternoons").string();
const std::string bench_rotor =
    (fs::path(SOURCE_FOLDER) / "examples/saltmarsh-college/rotor.toml").string();

// The same blades, then dusty: on the same sensors 0.014 stands out, on others it would not.
TEST(Compare, SeesBetweenTwoAfternoonsWhatTheSensorsHaveInCommon) {
  const fs::path folder = scratch_folder("compare-runs");
  const std::vector<std::string> files{afternoons + "/clean.csv", afternoons + "/dusty.csv",
                                       "--rotor", bench_rotor};
  auto same = files;
  same.emplace_back("--same-sensors");
  const json::value common = compared(same, folder, 1);
  const json::value apart = compared(files, folder, 0);
  const auto of = [](const json::value& got, const char* name) {
    return got.at_pointer(std::string("/curves/0/differences/0/maximum_cp/") + name)
        .to_number<double>();
  };
  EXPECT_NEAR(of(common, "difference/value"), 0.014, 0.003);
  EXPECT_GT(of(common, "en"), 1.0);
  EXPECT_LT(of(apart, "en"), 1.0);
  EXPECT_LT(of(common, "difference/u"), 0.2 * of(apart, "difference/u"));
  EXPECT_NEAR(of(apart, "difference/u"), of(apart, "u_if_independent"), 1e-4);
  EXPECT_FALSE(common.at("agree").as_bool());
  EXPECT_TRUE(common.at_pointer("/curves/0/mean/maximum_cp").is_null());
}

// Without any uncertainty nobody can say whether runs differ: neither yes nor no.
TEST(Compare, GivesNoVerdictWhereNobodyCanSay) {
  const fs::path folder = scratch_folder("compare-open");
  const fs::path example = fs::path(SOURCE_FOLDER) / "examples/two-bladed-rotor";
  const std::string points = (example / "points.csv").string();
  const std::vector<std::string> arguments{points, points, "--rotor",
                                           (example / "rotor.toml").string()};
  const json::value got = compared(arguments, folder, 1);
  EXPECT_TRUE(got.at("agree").is_null()) << json::serialize(got.at("agree"));
  EXPECT_NE(json::serialize(got.at("remarks")).find("nobody can say"), std::string::npos);
}

TEST(Compare, DoesNotScoreAgainstAReferenceWithoutUncertainty) {
  const fs::path folder = scratch_folder("compare-bare-reference");
  const std::string groups = "g1,a,10.1,0.1\ng2,a,9.9,0.1\ng3,a,10.05,0.1\ng4,a,10.3,0.1\n";
  write_text(folder / "g.csv", "group,level,value,u\nref,a,10,\n" + groups);
  const json::value bare = compared({"g.csv", "--reference", "ref"}, folder, 0);
  EXPECT_TRUE(bare.at_pointer("/levels/0/assigned/u").is_null());
  for (const json::value& cell : bare.at_pointer("/levels/0/cells").as_array()) {
    EXPECT_TRUE(cell.at("en").is_null());
    EXPECT_TRUE(cell.at("zeta").is_null());
  }
  EXPECT_NE(json::serialize(bare.at_pointer("/levels/0/remarks")).find("ref"), std::string::npos);
  EXPECT_EQ(windwright({"compare", "g.csv", "--reference", "ref"}, folder).out.find("nan"),
            std::string::npos);
  write_text(folder / "g.csv", "group,level,value,u\nref,a,10,0.05\n" + groups);
  const json::value stated = compared({"g.csv", "--reference", "ref"}, folder, 1);
  EXPECT_NEAR(stated.at_pointer("/levels/0/cells/3/en").to_number<double>(),
              0.3 / (2.0 * std::hypot(0.1, 0.05)), 1e-12);
  EXPECT_TRUE(stated.at_pointer("/levels/0/remarks").as_array().empty());
}

TEST(Compare, RefusesValuesThatNoArithmeticHolds) {
  const fs::path folder = scratch_folder("compare-huge");
  write_text(folder / "g.csv", "group,level,value\ng1,a,1e300\ng2,a,-1e300\ng3,a,10\n");
  const Ended ended = windwright({"compare", "g.csv"}, folder);
  EXPECT_EQ(ended.exit_code, 2);
  EXPECT_EQ(ended.err, "g.csv:2: value is 1e+300: a number of at most 1e+60 in size\n");
  EXPECT_EQ(ended.out, "");
}

TEST(Compare, RefusesWhatDoesNotGoTogether) {
  const fs::path folder = scratch_folder("compare-refuse");
  write_text(folder / "g.csv", "group,level,value\na,1,1\nb,1,2\nc,1,3\n");
  const std::string clean = afternoons + "/clean.csv";
  const auto refusal = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "compare");
    const Ended ended = windwright(arguments, folder);
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(ended.out, "");
    return ended.err;
  };
  EXPECT_EQ(refusal({"nowhere", clean}),
            "nowhere: does not exist: the folder of a run, a points CSV, or a CSV of groups\n");
  EXPECT_EQ(refusal({clean, clean}),
            "--rotor: is missing: points alone do not say which rotor was measured: --rotor "
            "ROTOR.toml\n");
  EXPECT_EQ(refusal({clean, "--rotor", bench_rotor}),
            "comparison: has 1 run: two or more runs or points files\n");
  EXPECT_EQ(refusal({"g.csv", clean}),
            clean +
                ": is one too many beside a CSV of groups: one CSV of groups alone, or two or "
                "more runs\n");
  EXPECT_EQ(refusal({"g.csv", "--same-sensors"}),
            "--same-sensors: goes with points files only: leave it out\n");
  EXPECT_EQ(refusal({clean, clean, "--reference", "a"}),
            "--reference: goes with a CSV of groups only: leave it out\n");
}

TEST(Compare, RefusesAReferenceThatIsNotThere) {
  const fs::path folder = scratch_folder("compare-reference");
  write_text(folder / "g.csv", "group,level,value\na,1,1\nb,1,2\nc,1,3\n");
  const Ended ended = windwright({"compare", "g.csv", "--reference", "d"}, folder);
  EXPECT_EQ(ended.exit_code, 2);
  EXPECT_EQ(ended.err,
            "g.csv:1: the reference 'd' has no value at level '1': a group of that name at every "
            "level, or another --reference\n");
}

}  // namespace
}  // namespace windwright::end_to_end
