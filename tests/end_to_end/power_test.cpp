// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <functional>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

constexpr double pi = std::numbers::pi;

fs::path samples_in(const fs::path& folder, const std::function<double(double)>& volts,
                    const std::function<double(double)>& amperes) {
  constexpr double rate_hz = 10000.0;
  std::string text = "time_s,u,i\n";
  for (int n = 0; n < 6000; ++n) {
    const double t_s = n / rate_hz;
    text += fmt::format("{:.4f},{},{}\n", t_s, volts(t_s), amperes(t_s));
  }
  write_text(folder / "samples.csv", text);
  return folder;
}

json::value analysed(const fs::path& folder, std::vector<std::string> more = {}) {
  std::vector<std::string> words{"power",     "samples.csv", "--voltage", "u",
                                 "--current", "i",           "--json"};
  words.insert(words.end(), more.begin(), more.end());
  const Ended ended = windwright(words, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return base::json_from_text(ended.out, "stdout");
}

double number(const json::value& document, const char* key) {
  return document.at(key).to_number<double>();
}

// IEEE Std 1459-2000/2010, Annex B, as in
// tests/published/data/ieee1459_nonsinusoidal_annex_b.json, first case.
TEST(Power, GivesTheQuantitiesOfTheStandardsExampleByTheirNames) {
  const std::vector<std::vector<double>> lines{// order, V, deg, A, deg
                                               {1, 100, 0, 100, -30},
                                               {3, 8, -70, 20, -165},
                                               {5, 15, 140, 15, 233},
                                               {7, 5, 20, 10, 288}};
  const auto sum = [&](std::size_t rms, double t_s) {
    double value = 0.0;
    for (const auto& line : lines) {
      value += std::numbers::sqrt2 * line[rms] *
               std::sin(2.0 * pi * 50.0 * line[0] * t_s + line[rms + 1] * pi / 180.0);
    }
    return value;
  };
  const json::value got = analysed(samples_in(
      scratch_folder("power-annex-b"), [&](double t) { return sum(1, t); },
      [&](double t) { return sum(3, t); }));
  EXPECT_NEAR(number(got, "frequency_Hz"), 50.0, 1e-6);
  EXPECT_NEAR(number(got, "voltage_rms_V"), 101.55787, 1e-5);
  EXPECT_NEAR(number(got, "current_rms_A"), 103.56158, 1e-5);
  EXPECT_NEAR(number(got, "active_power_W"), 8632.78855, 1e-3);
  EXPECT_NEAR(number(got, "apparent_power_VA"), 10517.4926, 1e-3);
  EXPECT_NEAR(number(got, "power_factor"), 0.82080291, 1e-7);
  EXPECT_NEAR(number(got, "fundamental_active_power_W"), 8660.25404, 1e-3);
  EXPECT_NEAR(number(got, "fundamental_reactive_power_var"), 5000.0, 1e-3);
  EXPECT_NEAR(number(got, "fundamental_apparent_power_VA"), 10000.0, 1e-3);
  EXPECT_NEAR(number(got, "non_fundamental_apparent_power_VA"), 3258.4736, 1e-3);
  EXPECT_NEAR(number(got, "voltage_distortion_power_var"), 1772.0045, 1e-3);
  EXPECT_NEAR(number(got, "current_distortion_power_var"), 2692.5824, 1e-3);
  EXPECT_NEAR(number(got, "harmonic_apparent_power_VA"), 477.12682, 1e-3);
  EXPECT_NEAR(number(got, "displacement_factor"), 0.8660254, 1e-7);
  EXPECT_NEAR(number(got, "voltage_thd_pct"), 17.720045, 1e-5);
  EXPECT_NEAR(number(got, "current_thd_pct"), 26.925824, 1e-5);
  EXPECT_GT(number(got, "voltage_crest_factor"), 1.0);
  EXPECT_GT(number(got, "current_crest_factor"), 1.0);
  const json::array& harmonics = got.at("harmonics").as_array();
  ASSERT_EQ(harmonics.size(), 51U);
  for (const auto& line : lines) {
    const json::value& one = harmonics.at(static_cast<std::size_t>(line[0]));
    EXPECT_EQ(number(one, "order"), line[0]);
    EXPECT_NEAR(number(one, "voltage_V"), line[1], 1e-5);
    EXPECT_NEAR(number(one, "current_A"), line[3], 1e-5);
    EXPECT_NEAR(std::remainder(number(one, "voltage_phase_deg") - line[2], 360.0), 0.0, 1e-5);
    EXPECT_NEAR(std::remainder(number(one, "current_phase_deg") - line[4], 360.0), 0.0, 1e-5);
  }
  EXPECT_FALSE(got.at("direct").as_bool());
  EXPECT_EQ(number(got.at("windows"), "count"), 2);
}

TEST(Power, OfADirectVoltageSaysSoAndGivesItsRipple) {
  const fs::path folder = samples_in(
      scratch_folder("power-direct"),
      [](double t) { return 24.0 + 0.3 * std::sin(600.0 * pi * t); }, [](double) { return 2.0; });
  const json::value got = analysed(folder);
  EXPECT_TRUE(got.at("direct").as_bool());
  EXPECT_TRUE(got.at("frequency_Hz").is_null());
  EXPECT_TRUE(got.at("power_factor").is_null());
  EXPECT_TRUE(got.at("voltage_thd_pct").is_null());
  EXPECT_EQ(got.at("harmonics").as_array().size(), 0U);
  EXPECT_NEAR(number(got, "active_power_W"), 48.0, 1e-6);
  EXPECT_NEAR(number(got, "voltage_ripple_factor_pct"), 0.3 / std::numbers::sqrt2 / 0.24, 1e-6);
  const Ended text =
      windwright({"power", "samples.csv", "--voltage", "u", "--current", "i"}, folder);
  EXPECT_NE(text.out.find("The voltage is direct"), std::string::npos) << text.out;
}

TEST(Power, TakesAPartAndSaysOrdersBeyondTheRateAsNull) {
  const fs::path folder = samples_in(
      scratch_folder("power-part"), [](double t) { return std::sin(2.0 * pi * 150.0 * t); },
      [](double t) { return std::sin(2.0 * pi * 150.0 * t); });
  const json::value got = analysed(folder, {"--from", "0.1", "--to", "0.5"});
  EXPECT_NEAR(number(got, "analysed_s"), 0.32, 1e-6);  // four windows of 12 cycles
  EXPECT_EQ(number(got.at("bandwidth"), "highest_order"), 31);
  EXPECT_TRUE(got.at("harmonics").at(50).at("voltage_V").is_null());
  EXPECT_NEAR(number(got, "active_power_W"), 0.5, 1e-9);
}

TEST(Power, RefusesOptionsThatCannotBe) {
  const auto complaint = [](std::vector<std::string> more) {
    std::vector<std::string> words{"power", "samples.csv"};
    words.insert(words.end(), more.begin(), more.end());
    const Ended ended = windwright(words, scratch_folder("power-options"));
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(ended.out, "");
    return ended.err;
  };
  EXPECT_EQ(complaint({"--voltage", "u", "--current", "u"}),
            "--current: is 'u', as --voltage is: the channel of the current\n");
  EXPECT_EQ(complaint({"--voltage", "u", "--current", "i", "--from", "soon"}),
            "--from: is 'soon': a number from -1000000000 to 1000000000\n");
  EXPECT_EQ(complaint({"--voltage", "u", "--current", "i", "--from", "2", "--to", "1"}),
            "--to: is '1', not after --from: a later time\n");
}

}  // namespace
}  // namespace windwright::end_to_end
