// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
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

}  // namespace
}  // namespace windwright::end_to_end
