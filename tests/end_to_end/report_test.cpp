// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

// Two curves of six points: the smallest question whose curves can be fitted.
constexpr const char* small_campaign =
    "schema = 1\ntitle = \"Small\"\nbench = \"bench.toml\"\noperator = \"nobody\"\nseed = 1\n"
    "repeats = 1\n"
    "[question]\ntext = \"How much?\"\nresponse = \"maximum_cp\"\nfactors = [\"blade_count\"]\n"
    "level_pct = 95\n"
    "[[factor]]\nactuator = \"blade_count\"\nlevels = [2, 3]\nhard_to_change = true\n"
    "[[factor]]\nactuator = \"rheostat_ohm\"\nlevels = [9, 13, 19, 28, 41, 60]\n"
    "[constants]\nfan_pct = 70\nload_selector = \"rheostat\"\npitch_deg = 5\n"
    "[pace]\nsettle_window_s = 2\nsettle_drift_pct = 1\nlongest_settle_s = 20\n"
    "shortest_dwell_s = 2\nlongest_dwell_s = 4\ntarget_u_pct = 1\n";

TEST(Report, WritesThePageAndTheSheetsOfARunAnewByteForByte) {
  const auto folder = bench_folder("report");
  write_text(folder / "campaign.toml", small_campaign);
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  ASSERT_EQ(windwright({"ready", "bench.toml", "--prove-interlocks"}, folder).exit_code, 0);
  const Ended run = windwright({"conduct", "campaign.toml", "--into", "run"}, folder);
  ASSERT_EQ(run.exit_code, 0) << run.err;
  const std::string page = text_of(folder / "run/report.html");
  ASSERT_NE(page.find("SIMULATED BENCH"), std::string::npos);
  std::filesystem::remove(folder / "run/report.html");
  std::filesystem::remove(folder / "run/report.pdf");

  const Ended anew = windwright({"report", "run", "--pdf", "--json"}, folder);
  ASSERT_EQ(anew.exit_code, 0) << anew.err;
  EXPECT_EQ(text_of(folder / "run/report.html"), page);
  EXPECT_EQ(text_of(folder / "run/report.pdf").substr(0, 5), "%PDF-");
  const boost::json::value told = base::json_from_text(anew.out, "stdout");
  EXPECT_TRUE(std::filesystem::exists(folder / std::string(told.at("html").as_string())));
  EXPECT_TRUE(std::filesystem::exists(folder / std::string(told.at("pdf").as_string())));

  // A run's samples have statistics too, by its folder or by its recording.
  const auto statistics = [&](const std::string& of) {
    return windwright({"reduce", of, "--statistics", "--window", "0:2", "--json"}, folder);
  };
  const Ended samples = statistics("run");
  ASSERT_LE(samples.exit_code, 1) << samples.err;
  EXPECT_EQ(statistics("run/recording.h5").out, samples.out);
  const boost::json::value record = base::json_from_text(samples.out, "stdout");
  const boost::json::value& first = record.at_pointer("/channels/0");
  const double interval_s = record.at("interval_s").to_number<double>();
  EXPECT_NEAR(first.at("count").to_number<double>() * interval_s, 2.0, interval_s);
  EXPECT_GT(first.at_pointer("/mean/u").to_number<double>(), 0.0);
}

const std::string examples = SOURCE_FOLDER "/examples/";

bool says(const std::string& page, const std::string& words) {
  return page.find(words) != std::string::npos;
}

// The page carries the numbers that `reduce --bins` gives, and its pictures their uncertainty.
TEST(Report, ShowsAPowerCurveWithItsUncertainty) {
  const auto folder = scratch_folder("report_power_curve");
  const std::vector<std::string> asked{examples + "roof-turbine/minutes.csv",
                                       "--bins",
                                       "--swept-area",
                                       "3.46",
                                       "--u-power-pct",
                                       "1",
                                       "--u-air-speed-pct",
                                       "1"};
  std::vector<std::string> report = asked;
  report.insert(report.begin(), "report");
  report.insert(report.end(), {"--into", "roof", "--json"});
  std::vector<std::string> reduce = asked;
  reduce.insert(reduce.begin(), "reduce");
  reduce.emplace_back("--json");
  const Ended ended = windwright(report, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_EQ(text_of(folder / "roof/results.json"), windwright(reduce, folder).out);
  EXPECT_FALSE(std::filesystem::exists(folder / "roof/report.pdf"));
  const std::string page = text_of(folder / "roof/report.html");
  const auto told = base::json_from_text(ended.out, "stdout");
  EXPECT_EQ(told.at("html").as_string(), "roof/report.html");
  EXPECT_TRUE(told.at("pdf").is_null());
  const auto results = base::json_from_text(text_of(folder / "roof/results.json"), "results");
  const double energy_kWh = results.at_pointer("/annual_energy/1/energy_kWh").to_number<double>();
  EXPECT_TRUE(says(page, fmt::format("{:.0f}&nbsp;±&nbsp;", energy_kWh))) << energy_kWh;
  EXPECT_TRUE(says(page, "Largest mean power 760&nbsp;±&nbsp;"));
  EXPECT_TRUE(says(page, "too few; u<sub>A</sub> of neighbours"));
  EXPECT_TRUE(says(page, "17, 17.5 m/s, bridged by straight lines"));
  // Four pictures, and a bar for every bin in the first: 31 bins, their line and the gap's.
  const auto first = page.substr(page.find("<svg"), page.find("</svg>") - page.find("<svg"));
  std::size_t bars = 0;
  for (auto at = first.find("stroke=\"#33393f\" stroke-width=\"1.3\""); at != std::string::npos;
       at = first.find("stroke=\"#33393f\" stroke-width=\"1.3\"", at + 1))
    ++bars;
  EXPECT_EQ(bars, results.at("bins").as_array().size());
}

TEST(Report, ShowsAClassAsAnInterlaboratoryComparison) {
  const auto folder = scratch_folder("report_class");
  const std::string groups = examples + "class-of-thirty/groups.csv";
  const Ended ended = windwright({"report", groups, "--reference", "technician", "--title", "A < B",
                                  "--into", "class", "--pdf"},
                                 folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_EQ(text_of(folder / "class/report.pdf").substr(0, 5), "%PDF-");
  const std::string page = text_of(folder / "class/report.html");
  EXPECT_TRUE(says(page, "<h1>A &lt; B</h1>"));
  EXPECT_TRUE(says(page, "Team 11: outlier (Grubbs); act on it"));
  EXPECT_TRUE(says(page, "Team 19: outlier (Cochran)"));
  EXPECT_TRUE(says(page, "0.3125 ± 0.0050, reference technician"));
  EXPECT_EQ(text_of(folder / "class/results.json"),
            windwright({"compare", groups, "--reference", "technician", "--json"}, folder).out);
}

TEST(Report, ShowsTwoRunsWithWhatTheirSensorsHaveInCommon) {
  const auto folder = scratch_folder("report_two_runs");
  const std::string clean = examples + "two-afternoons/clean.csv";
  const std::string dusty = examples + "two-afternoons/dusty.csv";
  const std::string rotor = examples + "saltmarsh-college/rotor.toml";
  const Ended ended = windwright(
      {"report", clean, dusty, "--rotor", rotor, "--same-sensors", "--into", "two"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const std::string page = text_of(folder / "two/report.html");
  EXPECT_TRUE(says(page, ">The runs differ.<"));
  EXPECT_TRUE(says(page, "0.0139 ± 0.0021"));
  EXPECT_TRUE(says(page, ">0.0091<")) << "what it would be with nothing in common";
  EXPECT_TRUE(says(page, "drop out of the differences, of: air speed, torque."));
  const Ended apart =
      windwright({"report", clean, dusty, "--rotor", rotor, "--into", "apart"}, folder);
  ASSERT_EQ(apart.exit_code, 0) << apart.err;
  EXPECT_TRUE(says(text_of(folder / "apart/report.html"), ">No difference is shown.<"));
}

TEST(Report, RefusesWhatDoesNotGoTogetherAndWritesNothing) {
  const auto folder = scratch_folder("report_refused");
  const std::string groups = examples + "class-of-thirty/groups.csv";
  const std::string minutes = examples + "roof-turbine/minutes.csv";
  const auto refused = [&](std::vector<std::string> arguments, const std::string& message) {
    arguments.insert(arguments.begin(), "report");
    const Ended ended = windwright(arguments, folder);
    EXPECT_EQ(ended.exit_code, 2) << message;
    EXPECT_TRUE(says(ended.err, message)) << ended.err;
    EXPECT_TRUE(std::filesystem::is_empty(folder));
  };
  refused({groups}, "--into: is missing");
  refused({groups, "--into", "out", "--rotor", "rotor.toml"}, "--rotor: goes with points files");
  refused({groups, minutes, "--into", "out"}, "is one too many beside a CSV of groups");
  refused({groups, "--into", "out", "--swept-area", "3"}, "--swept-area: goes with --bins only");
  refused({minutes, "--into", "out"}, "neither a run folder nor a CSV of groups");
  refused({minutes, "--bins", "--into", "out", "--same-sensors"}, "--same-sensors: goes with");
  refused({".", "--into", "out"}, "--into: does not go with one run");
  refused({groups, "--into", "out", "--reference", "nobody"}, "nobody");
}

TEST(Report, RefusesAFolderThatIsNoRun) {
  const auto folder = scratch_folder("report_of_nothing");
  const Ended ended = windwright({"report", "."}, folder);
  EXPECT_EQ(ended.exit_code, 2);
  EXPECT_NE(ended.err.find("is not a run folder"), std::string::npos) << ended.err;
  EXPECT_TRUE(std::filesystem::is_empty(folder));
}

}  // namespace
}  // namespace windwright::end_to_end
