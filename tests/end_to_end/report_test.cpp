// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>

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
