// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <regex>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace json = boost::json;

constexpr const char* readings =
    "# unit: reference = m s-1, reading = V\n"
    "reference,reading\n"
    "2,1.301\n4,2.098\n6,2.902\n8,3.7\n10,4.499\n";

std::filesystem::path folder_with(const std::string& name, const std::string& text) {
  const auto folder = scratch_folder(name);
  write_text(folder / "readings.csv", text);
  return folder;
}

double number(const json::value& value, const char* pointer) {
  return value.at_pointer(pointer).to_number<double>();
}

TEST(Calibrate, IssuesACertificateAndUsesIt) {
  const auto folder = folder_with("calibrate", readings);
  const Ended issued = windwright(
      {"calibrate", "readings.csv", "--model", "line", "--json", "--out", "cert.json", "--channel",
       "air_speed_m_s", "--standard", "nozzle", "--u-standard-pct", "0.5", "--date", "2026-03-02"},
      folder);
  ASSERT_EQ(issued.exit_code, 0) << issued.err;
  EXPECT_EQ(issued.out, text_of(folder / "cert.json"));
  const json::value certificate = base::json_from_text(issued.out, "stdout");
  EXPECT_EQ(certificate.at("model").as_string(), "line");
  EXPECT_NEAR(number(certificate, "/fit/coefficients/1"), 0.4, 0.001);
  EXPECT_EQ(number(certificate, "/fit/degrees_of_freedom"), 3.0);
  EXPECT_TRUE(certificate.at_pointer("/fit/chi_squared").is_null());
  EXPECT_EQ(number(certificate, "/range/reference/1"), 10.0);
  EXPECT_EQ(certificate.at_pointer("/unit/reading").as_string(), "V");
  EXPECT_EQ(certificate.at("valid_until").as_string(), "2027-03-02T00:00:00.000Z");

  const Ended used =
      windwright({"calibrate", "--certificate", "cert.json", "--reading", "2.9", "--json"}, folder);
  ASSERT_EQ(used.exit_code, 0) << used.err;
  const json::value value = base::json_from_text(used.out, "stdout");
  EXPECT_NEAR(number(value, "/value"), 6.0, 0.01);
  EXPECT_GT(number(value, "/u"), 0.03);  // half a percent of the value, and the fit
  EXPECT_LT(number(value, "/u"), 0.04);
  EXPECT_EQ(value.at("unit").as_string(), "m s-1");
  EXPECT_TRUE(value.at("covered").as_bool());
}

TEST(Calibrate, SaysSoWhenTheLineMissesTheReadings) {
  const auto folder = folder_with("calibrate_bent",
                                  "reference,reading,u_reading\n"
                                  "0,0,0.01\n1,1.2,0.01\n2,2.2,0.01\n3,3.0,0.01\n");
  const Ended ended = windwright({"calibrate", "readings.csv", "--model", "line"}, folder);
  EXPECT_EQ(ended.exit_code, 0);
  EXPECT_NE(ended.out.find("warning: the line misses the readings"), std::string::npos);
}

TEST(Calibrate, RefusesBadReadingsAndWritesNothing) {
  const std::vector<std::pair<std::string, std::string>> cases{
      {"reference,reading\n0,1\n1,nan\n2,3\n", "readings.csv:3: reading is 'nan'"},
      {"reference,reading\n0,1\n0,2\n0,3\n",
       "readings.csv:1: 1 distinct references for 2 coefficients"},
      {"reference,reading\n0,1\n1,2\n", "readings.csv:1: 2 readings for 2 coefficients"},
      {"reference,reading,u_reading\n0,1,1\n1,2,0\n2,3,1\n", "readings.csv:3: u_reading is 0"},
      {"reference,reading\n0,1\n1,2,3\n", "readings.csv:3: the row has 3 fields"},
      {"# unit: reference = W\nreference,reading\n0,1\n1,2\n2,3\n",
       "readings.csv:1: 'W' measures another quantity"}};
  for (const auto& [text, message] : cases) {
    const auto folder = folder_with("calibrate_bad", text);
    const Ended ended = windwright({"calibrate", "readings.csv", "--model", "line", "--channel",
                                    "air_speed_m_s", "--out", "cert.json"},
                                   folder);
    EXPECT_EQ(ended.exit_code, 2) << text;
    EXPECT_EQ(ended.err.find(message), 0U) << ended.err;
    EXPECT_TRUE(ended.out.empty());
    EXPECT_FALSE(std::filesystem::exists(folder / "cert.json")) << text;
  }
}

TEST(Calibrate, RefusesBadOptions) {
  const auto folder = folder_with("calibrate_options", readings);
  const std::vector<std::pair<std::vector<std::string>, std::string>> cases{
      {{"calibrate", "readings.csv"}, "--model: is missing"},
      {{"calibrate", "readings.csv", "--model", "spline"}, "--model: model 'spline'"},
      {{"calibrate", "readings.csv", "--model", "line", "--u-drift", "nan"}, "--u-drift: is nan"},
      {{"calibrate", "readings.csv", "--model", "line", "--date", "soon"}, "--date: 'soon'"},
      {{"calibrate", "readings.csv", "--model", "line", "--channel", "a#b"}, "--channel: 'a#b'"},
      {{"calibrate", "readings.csv", "--model", "line", "--out", "no/such/cert.json"},
       "--out: no/such/cert.json cannot be written"},
      {{"calibrate", "--certificate", "readings.csv", "--reading", "1"}, "readings.csv:1: is not"},
      {{"calibrate"}, "calibrate: wants one thing to do"}};
  for (const auto& [arguments, message] : cases) {
    const Ended ended = windwright(arguments, folder);
    EXPECT_EQ(ended.exit_code, 2) << message;
    EXPECT_EQ(ended.err.find(message), 0U) << ended.err;
  }
}

constexpr const char* up_and_down =
    "# unit: reference = m s-1, reading = V\n"
    "reference,reading,direction\n"
    "2,1.301,up\n4,2.098,up\n6,2.902,up\n8,3.7,up\n10,4.499,up\n"
    "10,4.502,down\n8,3.706,down\n6,2.909,down\n4,2.105,down\n2,1.304,down\n";

// Chain, drift, field adjustment and plot, as a laboratory goes through them.
TEST(Calibrate, FollowsASensorFromOneCertificateToTheNext) {
  const auto folder = folder_with("calibrate_history", up_and_down);
  const Ended first = windwright({"calibrate",
                                  "readings.csv",
                                  "--model",
                                  "line",
                                  "--channel",
                                  "air_speed_m_s",
                                  "--standard",
                                  "nozzle",
                                  "--u-standard-pct",
                                  "0.5",
                                  "--standard-certificate",
                                  "N-17",
                                  "--standard-valid-until",
                                  "2027-01-01",
                                  "--date",
                                  "2026-03-02",
                                  "--temperature-C",
                                  "21",
                                  "--out",
                                  "first.json",
                                  "--plot",
                                  "residuals.svg",
                                  "--json"},
                                 folder);
  ASSERT_EQ(first.exit_code, 0) << first.err;
  const json::value certificate = base::json_from_text(first.out, "stdout");
  EXPECT_EQ(certificate.at_pointer("/traceability/0/certificate").as_string(), "N-17");
  EXPECT_EQ(number(certificate, "/air/temperature_C"), 21.0);
  EXPECT_NEAR(number(certificate, "/diagnostics/hysteresis/largest"), 0.007, 1e-12);
  EXPECT_EQ(certificate.at_pointer("/diagnostics/residuals").as_array().size(), 10U);
  EXPECT_EQ(text_of(folder / "residuals.svg").find("<svg xmlns"), 0U);

  // A year later every reading is 0.4 % higher.
  std::string later = up_and_down;
  for (const auto& [from, to] :
       {std::pair("10,4.499", "10,4.517"), std::pair("10,4.502", "10,4.52"),
        std::pair("8,3.7,", "8,3.715,"), std::pair("8,3.706", "8,3.721")}) {
    later.replace(later.find(from), std::string(from).size(), to);
  }
  write_text(folder / "later.csv", later);
  const Ended second =
      windwright({"calibrate", "later.csv", "--model", "line", "--channel", "air_speed_m_s",
                  "--standard-certificate", "first.json", "--date", "2026-12-31", "--previous",
                  "first.json", "--out", "second.json", "--json"},
                 folder);
  ASSERT_EQ(second.exit_code, 0) << second.err;
  const json::value next = base::json_from_text(second.out, "stdout");
  EXPECT_EQ(next.at_pointer("/traceability/0/standard").as_string(), "air_speed_m_s");
  EXPECT_EQ(next.at_pointer("/traceability/1/standard").as_string(), "nozzle");
  EXPECT_GT(number(next, "/reference_standard/u"), 0.04);
  EXPECT_LT(number(next, "/drift/largest"), -0.03);
  EXPECT_TRUE(next.at_pointer("/as_found/agrees").as_bool());

  const Ended expired =
      windwright({"calibrate", "later.csv", "--model", "line", "--channel", "air_speed_m_s",
                  "--standard-certificate", "first.json", "--date", "2028-01-01"},
                 folder);
  EXPECT_EQ(expired.exit_code, 2);
  EXPECT_EQ(expired.err.find("first.json:1: the standard's certificate ended on 2027-03-02"), 0U)
      << expired.err;

  const Ended adjusted = windwright(
      {"calibrate", "--certificate", "first.json", "--field-point", "1.31=2", "--field-point",
       "4.51=10", "--u-field", "0.01", "--date", "2026-04-01", "--out", "adjusted.json"},
      folder);
  ASSERT_EQ(adjusted.exit_code, 0) << adjusted.err;
  EXPECT_NE(adjusted.out.find("before, m s-1"), std::string::npos) << adjusted.out;
  const Ended used = windwright(
      {"calibrate", "--certificate", "adjusted.json", "--reading", "4.51", "--json"}, folder);
  ASSERT_EQ(used.exit_code, 0) << used.err;
  EXPECT_NEAR(number(base::json_from_text(used.out, "stdout"), "/value"), 10.0, 1e-9);
}

TEST(Calibrate, ReadsCertificatesFromBeforeTheirAdditions) {
  const auto folder = folder_with("calibrate_old", readings);
  ASSERT_EQ(
      windwright({"calibrate", "readings.csv", "--model", "line", "--out", "new.json"}, folder)
          .exit_code,
      0);
  json::value old = base::json_from_file(folder / "new.json");
  for (const char* member : {"fit_of", "coefficient_names", "air", "traceability",
                             "field_adjustment", "diagnostics", "next_due"}) {
    EXPECT_EQ(old.as_object().erase(member), 1U) << member;
  }
  write_text(folder / "old.json", base::json_text(old));
  const auto used = [&folder](const char* file) {
    return windwright({"calibrate", "--certificate", file, "--reading", "2.9", "--json"}, folder);
  };
  EXPECT_EQ(used("old.json").exit_code, 0) << used("old.json").err;
  EXPECT_EQ(used("old.json").out, used("new.json").out);
}

TEST(Calibrate, ChartsACheckStandardAndSaysWhenItIsOut) {
  const auto folder = scratch_folder("calibrate_chart");
  std::string checks = "# unit: m s-1\ndate,measured,reference\n";
  for (int day = 1; day <= 9; ++day)
    checks += "2026-03-0" + std::to_string(day) + "," + (day % 2 == 0 ? "6.01" : "5.99") + ",6\n";
  write_text(folder / "checks.csv", checks);
  const std::vector<std::string> arguments{
      "calibrate", "--control-chart", "checks.csv", "--baseline",
      "9",         "--plot",          "chart.svg",  "--json"};
  const Ended in = windwright(arguments, folder);
  ASSERT_EQ(in.exit_code, 0) << in.err << in.out;
  EXPECT_EQ(text_of(folder / "chart.svg").find("<svg xmlns"), 0U);
  write_text(folder / "checks.csv", checks + "2026-03-10,6.2,6\n");
  const Ended out = windwright(arguments, folder);
  EXPECT_EQ(out.exit_code, 1) << out.err;
  const json::value chart = base::json_from_text(out.out, "stdout");
  EXPECT_EQ(number(chart, "/points_out"), 1.0);
  EXPECT_FALSE(chart.at("in_control").as_bool());
}

// The newest point alone does not tell what stood before it.
TEST(Calibrate, ChartNamesEarlierPointsAndOutliersOfTheBaseline) {
  const auto folder = scratch_folder("calibrate_chart_past");
  std::string checks = "# unit: m s-1\ndate,measured,reference\n";
  for (int day = 10; day <= 19; ++day) {
    const std::string value = day == 14 ? "6.3" : day % 2 == 0 ? "6.01" : "5.99";
    checks += "2026-03-" + std::to_string(day) + "," + value + ",6\n";
  }
  write_text(folder / "checks.csv", checks);
  const Ended baseline =
      windwright({"calibrate", "--control-chart", "checks.csv", "--json"}, folder);
  ASSERT_EQ(baseline.exit_code, 0) << baseline.err;
  const json::value chart = base::json_from_text(baseline.out, "stdout");
  ASSERT_EQ(chart.at("warnings").as_array().size(), 1U) << baseline.out;
  EXPECT_NE(chart.at_pointer("/warnings/0")
                .as_string()
                .find("0.3 of 2026-03-14 is an outlier of the baseline (Grubbs, G 2.8"),
            std::string::npos)
      << baseline.out;
  const Ended stated = windwright({"calibrate", "--control-chart", "checks.csv", "--centre", "0",
                                   "--spread", "0.05", "--smoothing", "1"},
                                  folder);
  EXPECT_EQ(stated.exit_code, 0) << stated.err;
  EXPECT_NE(stated.out.find("warning: 1 earlier point was out of control (2026-03-14)"),
            std::string::npos)
      << stated.out;
  EXPECT_NE(stated.out.find("newest point in control"), std::string::npos) << stated.out;
}

TEST(Calibrate, RefusesOptionsThatSayNothingOrAreOutsideTheirDomain) {
  const auto folder = folder_with("calibrate_options", "reference,reading\n1,1\n2,2.1\n3,2.9\n");
  const std::vector<std::pair<std::vector<std::string>, std::string>> cases{
      {{"readings.csv", "--model", "line", "--u-field", "0.1"},
       "--u-field: says nothing to the calibration of readings: leave it out\n"},
      {{"readings.csv", "--model", "line", "--density", "1.2"},
       "--density: says nothing to model 'line': leave it out, or --model pitot\n"},
      {{"readings.csv", "--model", "line", "--pulses-per-turn", "2"},
       "--pulses-per-turn: says nothing to model 'line': leave it out, or --model cup\n"},
      {{"readings.csv", "--model", "line", "--temperature-C", "400"},
       "--temperature-C: is 400: from -60 to 80\n"},
      {{"readings.csv", "--model", "line", "--pressure-hPa", "101325"},
       "--pressure-hPa: is 101325: from 300 to 1200\n"},
      {{"readings.csv", "--model", "line", "--humidity-pct", "-1"},
       "--humidity-pct: is -1: from 0 to 100\n"},
      {{"--model", "pitot", "--density", "-1.2", "--reading", "60"},
       "--density: is -1.2: a finite number above 0\n"},
      {{"--model", "pt100", "--reading", "110", "--channel", "x"},
       "--channel: says nothing to the value of a reading: leave it out\n"},
      {{"--model", "pt100", "--reading", "110", "--coefficients", "1,2,3"},
       "--coefficients: says nothing to model 'pt100': leave it out, or --model ntc\n"},
      {{"--control-chart", "readings.csv", "--model", "line"},
       "--model: says nothing to a control chart: leave it out\n"}};
  for (const auto& [arguments, message] : cases) {
    std::vector<std::string> all{"calibrate"};
    all.insert(all.end(), arguments.begin(), arguments.end());
    const Ended ended = windwright(all, folder);
    EXPECT_EQ(ended.exit_code, 2) << message;
    EXPECT_EQ(ended.err, message);
  }
}

TEST(Calibrate, SaysWhatTheScatterOfASingleReadingIs) {
  const auto folder = folder_with(
      "calibrate_scatter", "reference,reading,u_reading\n1,1,0.1\n2,2.1,0.1\n3,2.9,0.1\n4,4,0.1\n");
  ASSERT_EQ(windwright({"calibrate", "readings.csv", "--model", "line", "--out", "c.json"}, folder)
                .exit_code,
            0);
  std::vector<std::string> use{"calibrate", "--certificate", "c.json", "--reading", "2.5"};
  EXPECT_NE(windwright(use, folder).out.find("taken to scatter by 0.1, as stated"),
            std::string::npos)
      << windwright(use, folder).out;
  use.emplace_back("--json");
  const json::value silent = base::json_from_text(windwright(use, folder).out, "stdout");
  EXPECT_EQ(silent.at("reading_scatter").as_string(), "u_reading of the calibration");
  use.insert(use.end(), {"--u-reading", "0"});
  const json::value exact = base::json_from_text(windwright(use, folder).out, "stdout");
  EXPECT_EQ(exact.at("reading_scatter").as_string(), "--u-reading");
  // The line has a slope of 1 and a little: 0.1 of the reading is 0.1 of the value.
  EXPECT_NEAR(std::sqrt(std::pow(number(silent, "/u"), 2) - std::pow(number(exact, "/u"), 2)), 0.1,
              0.003);
}

TEST(Calibrate, WarnsWhereReadingsAreTooFewTooGoodOrTooNarrow) {
  const std::vector<std::pair<std::string, std::string>> cases{
      {"reference,reading,u_reading\n0,1,0.1\n1,2,0.1\n", "as many readings as coefficients"},
      {"reference,reading,u_reading\n0,0,1\n1,1,1\n2,2,1\n3,3,1\n4,4.001,1\n5,5,1\n6,6,1\n",
       "stated too large"},
      {"reference,reading\n1,3\n2,5\n3,7\n4,9\n", "lie on the line to the last digit"},
      {"reference,reading\n10000,1\n10001,2.1\n10002,2.9\n10003,4\n", "span only"},
      {"reference,reading\n1,5.1\n2,4.9\n3,5.3\n4,5.0\n", "wider than the calibrated range"}};
  for (const auto& [text, warning] : cases) {
    const auto folder = folder_with("calibrate_warns", text);
    const Ended ended =
        windwright({"calibrate", "readings.csv", "--model",
                    text.find("u_reading\n0,1") == std::string::npos ? "line" : "cup"},
                   folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    EXPECT_NE(ended.out.find(warning), std::string::npos) << text << ended.out;
  }
}

TEST(Calibrate, AdjustsAChannelOfABenchInTheField) {
  const auto folder = bench_folder("calibrate_field");
  ASSERT_EQ(windwright({"calibrate", "bench.toml", "--channel", "dc_voltage_V"}, folder).exit_code,
            0);
  const Ended ended =
      windwright({"calibrate", "bench.toml", "--channel", "dc_voltage_V", "--field-reference", "0",
                  "--field-reference", "30", "--u-field", "0.01"},
                 folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_NE(ended.out.find("raw, V"), std::string::npos) << ended.out;
  const json::value certificate =
      base::json_from_file(folder / "certificates" / "dc_voltage_V.json");
  EXPECT_NEAR(number(certificate, "/field_adjustment/gain"), 1.0, 0.02);
  EXPECT_EQ(number(certificate, "/field_adjustment/points/1/reference"), 30.0);
  // As found by the certificate of a minute ago, as left within the noise of a second.
  EXPECT_NEAR(number(certificate, "/field_adjustment/points/1/as_found"), 30.0, 0.2);
  EXPECT_NEAR(number(certificate, "/field_adjustment/points/1/as_left"), 30.0, 0.02);
  EXPECT_NE(ended.out.find("at 30 V: as found "), std::string::npos) << ended.out;
  const json::value note = base::json_from_text(text_of(folder / "logbook.jsonl"), "logbook.jsonl");
  EXPECT_EQ(note.at("event").as_string(), "adjustment");
  EXPECT_EQ(note.at("channel").as_string(), "dc_voltage_V");
  EXPECT_EQ(number(note, "/points/1/as_left"),
            number(certificate, "/field_adjustment/points/1/as_left"));
  const Ended half = windwright(
      {"calibrate", "bench.toml", "--channel", "dc_voltage_V", "--field-reference", "0"}, folder);
  EXPECT_EQ(half.exit_code, 2);
  EXPECT_EQ(half.err.find("--field-reference: wants one channel and two known inputs"), 0U);
}

// The same uncertainties, once in columns and once as a covariance.
TEST(Calibrate, TakesAWholeCovariance) {
  const auto folder = folder_with("calibrate_covariance",
                                  "reference,reading,u_reading\n"
                                  "1,3.3,0.5\n2,5.6,0.5\n3,7.1,0.4\n4,9.3,0.4\n");
  const Ended columns =
      windwright({"calibrate", "readings.csv", "--model", "line", "--json"}, folder);
  write_text(folder / "readings.csv", "reference,reading\n1,3.3\n2,5.6\n3,7.1\n4,9.3\n");
  write_text(folder / "covariance.csv",
             "y1,y2,y3,y4\n0.25,0,0,0\n0,0.25,0,0\n0,0,0.16,0\n0,0,0,0.16\n");
  const std::vector<std::string> arguments{"calibrate",    "readings.csv",   "--model", "line",
                                           "--covariance", "covariance.csv", "--json"};
  const Ended joint = windwright(arguments, folder);
  ASSERT_EQ(columns.exit_code, 0) << columns.err;
  ASSERT_EQ(joint.exit_code, 0) << joint.err;
  const json::value want = base::json_from_text(columns.out, "stdout");
  const json::value got = base::json_from_text(joint.out, "stdout");
  for (const char* at :
       {"/fit/coefficients/0", "/fit/coefficients/1", "/fit/chi_squared", "/fit/covariance/0/0",
        "/fit/covariance/0/1", "/fit/covariance/1/1", "/lack_of_fit_standard_deviation"}) {
    EXPECT_NEAR(number(got, at), number(want, at), 1e-12 * std::abs(number(want, at))) << at;
  }
  write_text(folder / "covariance.csv", "y1,y2,y3,y4\n1,2,0,0\n2,1,0,0\n0,0,1,0\n0,0,0,1\n");
  const Ended contradictory = windwright(arguments, folder);
  EXPECT_EQ(contradictory.exit_code, 2);
  EXPECT_NE(contradictory.err.find("contradictory or singular"), std::string::npos)
      << contradictory.err;
  write_text(folder / "covariance.csv", "y1,y2\n1,0\n0,1\n");
  EXPECT_EQ(windwright(arguments, folder).err.find("covariance.csv:1: 2 rows of 2 numbers"), 0U);
}

TEST(Calibrate, CountsATachometersPulsesWhateverTheUnitOfItsSpeed) {
  // 12 pulses a turn, at 1, 2 and 5 turns a second.
  for (const auto& [unit, speeds] :
       {std::pair("rad s-1",
                  std::vector<const char*>{"6.283185307", "12.566370614", "31.415926536"}),
        std::pair("rpm", std::vector<const char*>{"60", "120", "300"}),
        std::pair("Hz", std::vector<const char*>{"1", "2", "5"})}) {
    std::string text =
        "# unit: reference = " + std::string(unit) + ", reading = Hz\nreference,reading\n";
    const char* pulses[] = {"12.001", "23.999", "60"};
    for (std::size_t i = 0; i < 3; ++i)
      text += std::string(speeds[i]) + "," + pulses[i] + "\n";
    const auto folder = folder_with("calibrate_tachometer", text);
    const Ended ended =
        windwright({"calibrate", "readings.csv", "--model", "tachometer", "--json"}, folder);
    ASSERT_EQ(ended.exit_code, 0) << ended.err;
    const json::value got = base::json_from_text(ended.out, "stdout");
    EXPECT_NEAR(number(got, "/derived/pulses_per_turn/value"), 12.0, 0.001) << unit;
    EXPECT_TRUE(got.at_pointer("/diagnostics/warnings").as_array().empty()) << unit;
  }
}

TEST(Calibrate, TakesTheReadingsOfABenchAndWritesItsCertificate) {
  const auto folder = bench_folder("calibrate_bench");
  const Ended ended =
      windwright({"calibrate", "bench.toml", "--channel", "dc_voltage_V", "--json"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value all = base::json_from_text(ended.out, "stdout");
  ASSERT_EQ(all.at("certificates").as_array().size(), 1U);
  const json::value certificate =
      base::json_from_file(folder / "certificates" / "dc_voltage_V.json");
  EXPECT_EQ(certificate.at("channel").as_string(), "dc_voltage_V");
  // The readings beside it give the same curve again.
  const Ended again =
      windwright({"calibrate", "readings/dc_voltage_V.csv", "--model", "line", "--json"}, folder);
  ASSERT_EQ(again.exit_code, 0) << again.err;
  const json::value refitted = base::json_from_text(again.out, "stdout");
  EXPECT_NEAR(number(refitted, "/fit/coefficients/1") / number(certificate, "/fit/coefficients/1"),
              1.0, 1e-12);
  const Ended twice = windwright(
      {"calibrate", "--bench", "bench.toml", "--channel", "dc_voltage_V", "--json"}, folder);
  EXPECT_EQ(twice.out, ended.out);
}

// Readings without a unit (a wall sensor in parts of its range, say): no sentence, table or chart
// of the verb reads "0.4 1".
TEST(Calibrate, SaysNoUnitWhereThereIsNone) {
  const std::filesystem::path folder = scratch_folder("calibrate-no-unit");
  write_text(folder / "r.csv",
             "reference,reading,repeat,direction\n0,0.02,1,up\n0.2,0.41,1,up\n0.4,0.83,1,up\n"
             "0.6,1.24,1,up\n0.8,1.61,1,up\n0.8,1.66,2,down\n0.6,1.29,2,down\n0.4,0.88,2,down\n"
             "0.2,0.46,2,down\n0,0.07,2,down\n");
  write_text(folder / "chart.csv",
             "date,measured,reference\n2026-01-01,0.50,0.5\n2026-01-02,0.52,0.5\n"
             "2026-01-03,0.49,0.5\n2026-01-04,0.51,0.5\n2026-01-05,0.50,0.5\n");
  const std::vector<std::vector<std::string>> commands{
      {"r.csv", "--model", "line", "--out", "c.json", "--plot", "r.svg", "--date", "2026-01-01"},
      {"r.csv", "--model", "line", "--previous", "c.json", "--date", "2026-06-01"},
      {"--certificate", "c.json", "--reading", "0.9"},
      {"--certificate", "c.json", "--reading", "9"},
      {"--certificate", "c.json", "--reference", "0.5"},
      {"--certificate", "c.json", "--reference", "5"},
      {"--certificate", "c.json", "--field-point", "0.05=0", "--field-point", "1.6=0.8"},
      {"--control-chart", "chart.csv", "--plot", "chart.svg"}};
  std::string said;
  for (std::vector<std::string> command : commands) {
    command.insert(command.begin(), "calibrate");
    const Ended ended = windwright(command, folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    said += ended.out;
  }
  EXPECT_NE(said.find("differ from rising ones by up to 0.025 (Welch"), said.npos) << said;
  said += text_of(folder / "r.svg") + text_of(folder / "chart.svg");
  const std::regex one("[0-9] 1[ ,:;\\n]|[a-z], 1[ <\\n]");
  std::smatch found;
  EXPECT_FALSE(std::regex_search(said, found, one)) << '"' << found.str() << "\" in\n" << said;
}

}  // namespace
}  // namespace windwright::end_to_end
