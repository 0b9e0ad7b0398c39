// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "campaign/conductor.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
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

// The source's own tunnel, 24.4 m x 36.6 m: a rotor of 8.9 % blockage at a measured thrust
// coefficient of 0.47. M. M. Hand et al., NREL/TP-500-29955 (2001): below 2 % of speed (from
// memory).
TEST(Reduce, CorrectsForTheWallsOfAClosedSection) {
  const fs::path folder = scratch_folder("reduce-walls");
  const Ended open = reduce_measured(folder, {"--json"});
  const Ended closed = reduce_measured(folder, {"--json", "--tunnel-area", "893.04"});
  ASSERT_EQ(closed.exit_code, 0) << closed.err;
  const json::value before = base::json_from_text(open.out, "stdout");
  const json::value after = base::json_from_text(closed.out, "stdout");
  EXPECT_EQ(before.at("points").at(0).at("cp_shaft"), after.at("points").at(0).at("cp_shaft"));
  EXPECT_FALSE(before.at("points").at(0).as_object().contains("corrected"));
  const json::value& corrected = after.at("points").at(0).at("corrected");
  const auto value = [&](const char* name) { return corrected.at(name).at("value").as_double(); };
  EXPECT_GT(value("speed_ratio"), 1.01);
  EXPECT_LT(value("speed_ratio"), 1.02);
  EXPECT_NEAR(value("free_air_speed_m_s"), 7.0 * value("speed_ratio"), 1e-9);
  EXPECT_NEAR(value("cp_shaft"), 0.3537 / std::pow(value("speed_ratio"), 3), 1e-4);
  EXPECT_NEAR(value("tip_speed_ratio"), 5.4077 / value("speed_ratio"), 1e-4);
  EXPECT_EQ(corrected.at("thrust_basis").as_string(), "measured");
  const Ended text = reduce_measured(folder, {"--tunnel-area", "893.04", "--into", "results"});
  EXPECT_NE(text.out.find("2 blades, 3 deg, corrected to open air"), std::string::npos) << text.out;
  EXPECT_NE(text.out.find("blockage 8.9 %"), std::string::npos);
  EXPECT_NE(text_of(folder / "results/report.html").find("Walls of the tunnel"), std::string::npos);
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

// W. F. Tietjen, R. H. Moore, Technometrics 14 (1972) 583-597: Grubbs' G of the uranium readings
// and its one-sided critical value, six digits.
TEST(Reduce, NamesThePublishedOutlierOfSamples) {
  const fs::path folder = scratch_folder("reduce-statistics");
  const json::value set = base::json_from_file(fs::path(SOURCE_FOLDER) /
                                               "tests/published/data/"
                                               "grubbs_uranium_mass_spectrometer.json");
  std::string csv = "reading\n";
  for (const json::value& value : set.at_pointer("/inputs/y").as_array())
    csv += fmt::format("{}\n", value.to_number<double>());
  write_text(folder / "uranium.csv", csv);
  const Ended ended = windwright({"reduce", "uranium.csv", "--statistics", "--json"}, folder);
  EXPECT_EQ(ended.exit_code, 1) << "an outlier calls for a look: " << ended.err;
  const json::value got = base::json_from_text(ended.out, "stdout");
  const json::value& channel = got.at_pointer("/channels/0");
  const json::value& upper = channel.at("grubbs_upper");
  EXPECT_NEAR(upper.at("g").to_number<double>(), set.at_pointer("/expected/G").to_number<double>(),
              0.5e-6);
  EXPECT_NEAR(upper.at("critical_5pct").to_number<double>(),
              set.at_pointer("/expected/critical_one_sided_5pct").to_number<double>(), 0.5e-6);
  EXPECT_EQ(upper.at("value").to_number<double>(), 245.57);
  EXPECT_EQ(upper.at("standing").as_string(), "outlier");
  EXPECT_NEAR(channel.at_pointer("/suspects/0/critical_5pct").to_number<double>(),
              set.at_pointer("/crosscheck/critical_two_sided").to_number<double>(), 1e-6);
  EXPECT_EQ(channel.at("count").to_number<int>(), 8) << "named, not taken out";
  EXPECT_TRUE(channel.at("integral_time_s").is_null());
}

// A converter that shows two neighbouring steps says nothing about outliers; nor do five samples.
TEST(Reduce, CallsOrdinaryCoarseSamplesNoOutliers) {
  const fs::path folder = scratch_folder("reduce-coarse");
  std::string coarse = "reading\n";
  for (int i = 0; i < 38; ++i)
    coarse += i % 5 == 2 ? "2\n" : "1\n";
  write_text(folder / "coarse.csv", coarse);
  write_text(folder / "few.csv", "reading\n1\n2\n1\n2\n1\n");
  write_text(folder / "equal.csv", "reading\n3\n3\n3\n3\n");
  for (const char* file : {"coarse.csv", "few.csv"}) {
    const Ended ended =
        windwright({"reduce", file, "--statistics", "--drift-pct", "200", "--json"}, folder);
    EXPECT_EQ(ended.exit_code, 0) << file << ended.out;
    const json::value got = base::json_from_text(ended.out, "stdout");
    EXPECT_TRUE(got.at_pointer("/channels/0/suspects").as_array().empty()) << ended.out;
  }
  const Ended equal = windwright({"reduce", "equal.csv", "--statistics"}, folder);
  EXPECT_EQ(equal.exit_code, 0) << equal.out;
  EXPECT_EQ(equal.out.find("inf"), std::string::npos) << equal.out;
}

TEST(Reduce, RefusesOptionsThatWouldDoNothing) {
  const fs::path folder = scratch_folder("reduce-idle-options");
  const std::string points = (measured_rotor / "points.csv").string();
  const std::string rotor = (measured_rotor / "rotor.toml").string();
  const auto refused = [&](std::vector<std::string> more, const std::string& option) {
    more.insert(more.begin(), {"reduce", points});
    const Ended ended = windwright(more, folder);
    EXPECT_EQ(ended.exit_code, 2) << option;
    EXPECT_EQ(ended.err.rfind(option + ": ", 0), 0U) << ended.err;
    EXPECT_EQ(ended.out, "");
  };
  refused({"--rotor", rotor, "--u-power-pct", "1"}, "--u-power-pct");
  refused({"--rotor", rotor, "--mean-air-speed-m-s", "5"}, "--mean-air-speed-m-s");
  refused({"--rotor", rotor, "--drift-pct", "5"}, "--drift-pct");
  refused({"--bins", "--channel", "a"}, "--channel");
  refused({"--statistics", "--u-power-pct", "1"}, "--u-power-pct");
  refused({"--bins", "--rotor", rotor, "--swept-area", "3"}, "--swept-area");
  refused({"--bins", "--weibull-shape", "1.8"}, "--weibull-shape");
}

TEST(Reduce, RefusesSamplesThatNoArithmeticHolds) {
  const fs::path folder = scratch_folder("reduce-huge");
  write_text(folder / "huge.csv", "reading\n1\n-1e200\n3\n");
  const Ended huge = windwright({"reduce", "huge.csv", "--statistics"}, folder);
  EXPECT_EQ(huge.exit_code, 2);
  EXPECT_EQ(huge.err, "huge.csv:3: reading is -1e+200: a number of at most 1e+60 in size\n");
  write_text(folder / "uneven.csv", "time_s,a\n0,1\n1,2\n1.9,1\n3.4,2\n4,1\n");
  const Ended uneven = windwright({"reduce", "uneven.csv", "--statistics"}, folder);
  EXPECT_EQ(uneven.exit_code, 2);
  EXPECT_EQ(uneven.err.rfind("uneven.csv:5: ", 0), 0U) << uneven.err;
  write_text(folder / "rounded.csv", "time_s,a\n0,1\n0.3,2\n0.7,1\n1.0,2\n1.3,1\n1.7,2\n2,1\n");
  EXPECT_LE(windwright({"reduce", "rounded.csv", "--statistics"}, folder).exit_code, 1);
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
  EXPECT_EQ(refusal({"reduce", (measured_rotor / "points.csv").string(), "--rotor", rotor,
                     "--tunnel-area", "50", "--into", "out"}),
            "tunnel area: 50 m2 do not hold the rotor's 79.45 m2: the clear cross-section of the "
            "tunnel at the rotor\n");
  EXPECT_EQ(refusal({"reduce", "empty", "--bins"}),
            "empty: does not exist: the folder of a run, or a points CSV\n");
  EXPECT_EQ(
      refusal({"reduce", (measured_rotor / "points.csv").string(), "--bins", "--into", "out"}),
      "--into: does not go with --bins: leave it out\n");
  EXPECT_EQ(refusal({"reduce", (measured_rotor / "points.csv").string(), "--bins", "--statistics"}),
            "--statistics: does not go with --bins: one of them\n");
  EXPECT_EQ(refusal({"reduce", (measured_rotor / "points.csv").string(), "--bins", "--regulation",
                     "stall"}),
            "--regulation: is 'stall': passive or active\n");
  EXPECT_EQ(refusal({"reduce", (measured_rotor / "points.csv").string(), "--window", "0:10"}),
            "--window: needs the samples of a run: the folder of a run\n");
  fs::create_directories(folder / "empty");
  EXPECT_NE(refusal({"reduce", "empty"}).find("empty"), std::string::npos);
}

// A window that is the dwell of a test point has that point's powers.
void expect_window_like_the_first_point(const fs::path& folder) {
  const campaign::Run run = campaign::run_from_folder(folder / "run");
  const campaign::TestPoint& point = run.points.at(0);
  const double from_s = static_cast<double>(point.first_sample) / run.bench.sample_rate_hz;
  const double to_s = from_s + static_cast<double>(point.samples) / run.bench.sample_rate_hz;
  const std::string window = fmt::format("{}:{}", from_s, to_s);
  const Ended ended = windwright({"reduce", "run", "--window", window, "--json"}, folder);
  ASSERT_LE(ended.exit_code, 1) << ended.err;
  const json::value study = base::json_from_text(ended.out, "stdout");
  const json::array& flows = study.at("windows").at(0).at("flows").as_array();
  const json::value results = base::json_from_text(text_of(folder / "run/results.json"), "results");
  const json::value& first = results.at("points").at(0);
  const double dc_W = first.at("dc_power_W").at("value").to_number<double>();
  EXPECT_EQ(flows.back().at("to").as_string(), "DC load");
  EXPECT_NEAR(flows.back().at("measured_W").at("value").to_number<double>(), dc_W, 1e-9);
  EXPECT_EQ(study.at("global_test").at("dof").to_number<int>(), 1);
  EXPECT_EQ(windwright({"reduce", "run", "--window", "5:1e6"}, folder).exit_code, 2);
  EXPECT_EQ(windwright({"reduce", "run", "--window", "5"}, folder).exit_code, 2);
}

// A run against itself: the same certificates, so only what is random or was set anew is left.
void expect_compared_with_itself(const fs::path& folder) {
  const Ended ended = windwright({"compare", "run", "run", "--json"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value got = base::json_from_text(ended.out, "stdout");
  ASSERT_EQ(got.at("curves").as_array().size(), 4U);
  for (const json::value& curve : got.at("curves").as_array()) {
    const json::value& maximum = curve.at_pointer("/differences/0/maximum_cp");
    EXPECT_EQ(maximum.at_pointer("/difference/value").to_number<double>(), 0.0);
    EXPECT_LT(maximum.at_pointer("/difference/u").to_number<double>(),
              0.7 * maximum.at("u_if_independent").to_number<double>());
    for (const json::value& line : curve.at("budget").as_array()) {
      const std::string input(line.at("input").as_string());
      const bool known = input.starts_with("pitch_deg:setting") || input == "random" ||
                         input == "lack-of-fit" || input == "others";
      EXPECT_TRUE(known) << input;
    }
  }
  const std::string common = json::serialize(got.at("common"));
  for (const char* input : {"air_speed_m_s:standard-relative", "dc_voltage_V:drift",
                            "air_speed:position", "rotor:tip-radius", "air-density:equation"})
    EXPECT_NE(common.find(input), std::string::npos) << input;
}

TEST(Reduce, RunAndItsOwnPointsGiveTheSameBytes) {
  const fs::path folder = bench_folder("reduce-run");
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  ASSERT_EQ(windwright({"ready", "bench.toml", "--prove-interlocks"}, folder).exit_code, 0);
  const Ended conducted = windwright({"conduct", "campaign.toml", "--into", "run", "--reason",
                                      "a check by chance must not stop this test"},
                                     folder);
  ASSERT_LE(conducted.exit_code, 1) << conducted.err;
  const std::string results = text_of(folder / "run/results.json");
  const std::string points = text_of(folder / "run/points.csv");
  ASSERT_FALSE(results.empty());

  expect_window_like_the_first_point(folder);
  expect_compared_with_itself(folder);
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
  EXPECT_NE(results.find("\"Open jet: no wall correction.\""), std::string::npos);
  EXPECT_EQ(results.find("\"corrected\""), std::string::npos);
}

TEST(Reduce, RunOnABenchWithAClosedSectionGivesRawAndCorrected) {
  const fs::path folder = bench_folder("reduce-closed");
  const auto replace = [&](const char* file, const std::string& old, const std::string& by) {
    std::string text = text_of(folder / file);
    ASSERT_NE(text.find(old), std::string::npos) << old;
    write_text(folder / file, text.replace(text.find(old), old.size(), by));
  };
  replace("bench.toml", "position_factor = 1.0 ",
          "section_area_m2 = 1.4\nprofile_radius_m = [0.0, 0.2, 0.35]\n"
          "profile_speed_ratio = [1.0, 1.0, 0.97]\nu_profile_speed_ratio = 0.004\n#");
  replace("bench.toml", "u_position_factor = 0.004",
          "unresolved_turbulence_pct = 2\nu_unresolved_turbulence_pct = 1");
  replace("rotor.toml", "strength_Pa = 600e6", "strength_Pa = 900e6");  // walls load blades more
  replace("campaign.toml", "repeats = 2", "repeats = 1");
  replace("campaign.toml", "shortest_dwell_s = 24", "shortest_dwell_s = 10");
  replace("campaign.toml", "longest_dwell_s = 36", "longest_dwell_s = 10");
  ASSERT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  ASSERT_EQ(windwright({"ready", "bench.toml", "--prove-interlocks"}, folder).exit_code, 0);
  const Ended conducted = windwright({"conduct", "campaign.toml", "--into", "run", "--reason",
                                      "a check by chance must not stop this test"},
                                     folder);
  ASSERT_LE(conducted.exit_code, 1) << conducted.err;
  const std::string results = text_of(folder / "run/results.json");
  EXPECT_EQ(windwright({"reduce", "run/points.csv", "--json"}, folder).out, results);
  const json::value document = base::json_from_text(results, "results.json");
  EXPECT_NEAR(document.at("section").at("blockage").to_number<double>(), 0.2019, 1e-4);
  for (const json::value& point : document.at("points").as_array()) {
    const json::value& corrected = point.at("corrected");
    EXPECT_EQ(corrected.at("thrust_basis").as_string(), "theory");
    EXPECT_LT(corrected.at("cp_shaft").at("value").to_number<double>(),
              point.at("cp_shaft").at("value").to_number<double>());
    EXPECT_GT(corrected.at("cp_shaft").at("u").to_number<double>(), 0.0);
  }
  EXPECT_FALSE(document.at("corrected_verdict").at("answer").as_string().empty());
  const std::string points = text_of(folder / "run/points.csv");
  for (const char* input : {"air_speed:profile", "air_speed:unresolved-turbulence"})
    EXPECT_NE(points.find(std::string("u_air_speed_cubed_m3_s3/") + input), std::string::npos);
  EXPECT_NE(text_of(folder / "run/report.html").find("closed section of 1.4 m²"),
            std::string::npos);
  const Ended refused = windwright({"reduce", "run", "--tunnel-area", "2"}, folder);
  EXPECT_EQ(refused.exit_code, 2);
  EXPECT_EQ(refused.err,
            "--tunnel-area: does not go with a run, which has its own bench and folder: leave it "
            "out\n");
}

}  // namespace
}  // namespace windwright::end_to_end
