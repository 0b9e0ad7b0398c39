// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

const fs::path measured_rotor = fs::path(SOURCE_FOLDER) / "examples/two-bladed-rotor";

Ended reduce_measured(const fs::path& folder, std::vector<std::string> more) {
  std::vector<std::string> arguments{"reduce", (measured_rotor / "points.csv").string(), "--rotor",
                                     (measured_rotor / "rotor.toml").string()};
  arguments.insert(arguments.end(), more.begin(), more.end());
  return windwright(arguments, folder);
}

TEST(Reduce, GivesPointsFromElsewhereAsOneJsonDocument) {
  const Ended ended = reduce_measured(scratch_folder("reduce-json"), {"--json"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value results = base::json_from_text(ended.out, "stdout");
  const json::array& points = results.at("points").as_array();
  ASSERT_EQ(points.size(), 3U);
  EXPECT_NEAR(points[0].at("cp_shaft").at("value").to_number<double>(), 0.3537, 0.5e-4);
  EXPECT_NEAR(points[0].at("tip_speed_ratio").at("value").to_number<double>(), 5.4077, 0.5e-4);
  EXPECT_TRUE(points[0].at("cp_shaft").at("u").is_null()) << "the source states none";
  EXPECT_EQ(points[0].at("ct").at("unit").as_string(), "1");
  const json::value& curve = results.at("curves").at(0);
  EXPECT_EQ(curve.at("blade_count").to_number<int>(), 2);
  EXPECT_EQ(curve.at("pitch_deg").to_number<double>(), 3.0);
  EXPECT_TRUE(curve.at("optimum_tip_speed_ratio").is_null());
}

TEST(Reduce, WritesItsProductsIntoAFolder) {
  const fs::path folder = scratch_folder("reduce-into");
  const Ended ended = reduce_measured(folder, {"--into", "results"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_EQ(text_of(folder / "results/points.csv"), text_of(measured_rotor / "points.csv"));
  EXPECT_NE(text_of(folder / "results/report.html").find("DOI 10.21947/WDH-DAP/1910052"),
            std::string::npos)
      << "the source lines go into the report";
  const std::string first = text_of(folder / "results/results.json");
  ASSERT_EQ(reduce_measured(folder, {"--into", "again"}).exit_code, 0);
  EXPECT_EQ(text_of(folder / "again/results.json"), first);
  EXPECT_EQ(text_of(folder / "again/curves.csv"), text_of(folder / "results/curves.csv"));
}

TEST(Reduce, CarriesStatedUncertaintyIntoTheResults) {
  const fs::path folder = scratch_folder("reduce-stated");
  write_text(folder / "points.csv",
             "air_speed_m_s,u_air_speed_m_s,rotor_speed_rad_s,air_density_kg_m3,dc_power_W\n"
             "8,0.08,80,1.2,30\n");
  const Ended ended = windwright(
      {"reduce", "points.csv", "--rotor", (measured_rotor / "rotor.toml").string(), "--json"},
      folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value results = base::json_from_text(ended.out, "stdout");
  const json::value& cp = results.at("points").at(0).at("cp_electrical");
  // cp goes with the inverse cube of the air speed: 3 times 1 %.
  EXPECT_NEAR(cp.at("u").to_number<double>() / cp.at("value").to_number<double>(), 0.03, 1e-12);
  const json::value& ratio = results.at("points").at(0).at("tip_speed_ratio");
  EXPECT_NEAR(ratio.at("u").to_number<double>() / ratio.at("value").to_number<double>(), 0.01,
              1e-12);
}

TEST(Reduce, RefusesWhatItCannotUseAndWritesNothing) {
  const fs::path folder = scratch_folder("reduce-refused");
  const auto refusal = [&](const std::vector<std::string>& arguments) {
    const Ended ended = windwright(arguments, folder);
    EXPECT_EQ(ended.exit_code, 2) << ended.err;
    EXPECT_FALSE(fs::exists(folder / "out"));
    return ended.err;
  };
  write_text(folder / "points.csv", "air_speed_m_s,rotor_speed_rad_s\n8,80\n");
  const std::string rotor = (measured_rotor / "rotor.toml").string();
  EXPECT_EQ(refusal({"reduce", "points.csv", "--rotor", rotor, "--into", "out"}),
            "points.csv:1: the air density cannot be known: a column air_density_kg_m3, or "
            "air_temperature_C, air_pressure_hPa and air_humidity_pct together\n");
  EXPECT_EQ(refusal({"reduce", (measured_rotor / "points.csv").string(), "--into", "out"}),
            "--rotor: is missing: points alone do not say which rotor was measured: --rotor "
            "ROTOR.toml\n");
  EXPECT_EQ(refusal({"reduce", "nowhere.csv", "--rotor", rotor, "--into", "out"}),
            "nowhere.csv: does not exist: the folder of a run, or a points CSV\n");
  fs::create_directories(folder / "empty");
  EXPECT_NE(refusal({"reduce", "empty"}).find("empty"), std::string::npos);
}

TEST(Reduce, RunAndItsOwnPointsGiveTheSameBytes) {
  const fs::path folder = bench_folder("reduce-run");
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  const Ended conducted = windwright({"conduct", "campaign.toml", "--into", "run", "--reason",
                                      "a check by chance must not stop this test"},
                                     folder);
  ASSERT_LE(conducted.exit_code, 1) << conducted.err;
  const std::string results = text_of(folder / "run/results.json");
  const std::string points = text_of(folder / "run/points.csv");
  ASSERT_FALSE(results.empty());

  const Ended from_points = windwright({"reduce", "run/points.csv", "--json"}, folder);
  EXPECT_EQ(from_points.out, results);
  const Ended from_run = windwright({"reduce", "run", "--json"}, folder);
  EXPECT_EQ(from_run.out, results);
  EXPECT_EQ(text_of(folder / "run/results.json"), results);
  EXPECT_EQ(text_of(folder / "run/points.csv"), points);

  const json::value document = base::json_from_text(results, "results.json");
  EXPECT_EQ(document.at("points").as_array().size(), 64U);
  EXPECT_EQ(document.at("curves").as_array().size(), 4U);
  EXPECT_EQ(document.at("verdict").at("differences").as_array().size(), 6U);
  double shares = 0.0;
  for (const json::value& line : document.at("budget").as_array())
    shares += line.at("share_pct").to_number<double>();
  EXPECT_NEAR(shares, 100.0, 1e-9);
}

}  // namespace
}  // namespace windwright::end_to_end
