// SPDX-License-Identifier: Apache-2.0
// Published calibrations through the program: readings in, every printed figure out. Data and
// their sources stand in tests/published/data.
#include "base/json.h"
#include "base/table.h"
#include "base/text.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <numeric>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace json = boost::json;
using Column = std::pair<std::string, std::vector<double>>;

const std::string data_folder = SOURCE_FOLDER "/tests/published/data/";

json::value data(const std::string& name) {
  return base::json_from_file(data_folder + name);
}

double number(const json::value& value, const std::string& pointer) {
  return value.at_pointer(pointer).to_number<double>();
}

std::vector<double> numbers(const json::value& value, const std::string& pointer) {
  std::vector<double> result;
  for (const json::value& entry : value.at_pointer(pointer).as_array())
    result.push_back(entry.to_number<double>());
  return result;
}

double relative(double got, double wanted) {
  return std::abs(got / wanted - 1.0);
}

// A readings file in a fresh folder, calibrated; the certificate is cert.json there.
struct Bench {
  std::filesystem::path folder;

  explicit Bench(const std::string& name) : folder(scratch_folder(name)) {}

  json::value calibrated(const std::vector<Column>& columns, std::vector<std::string> options) {
    std::string text;
    for (const auto& [name, values] : columns)
      text += (text.empty() ? "" : ",") + name;
    text += '\n';
    for (std::size_t row = 0; row < columns.front().second.size(); ++row) {
      for (std::size_t k = 0; k < columns.size(); ++k)
        text += (k == 0 ? "" : ",") + base::number_text(columns[k].second[row]);
      text += '\n';
    }
    write_text(folder / "readings.csv", text);
    std::vector<std::string> arguments{"calibrate", "readings.csv", "--json", "--out", "cert.json"};
    arguments.insert(arguments.end(), options.begin(), options.end());
    return answer(arguments);
  }

  json::value used(std::vector<std::string> options) {
    std::vector<std::string> arguments{"calibrate", "--certificate", "cert.json", "--json"};
    arguments.insert(arguments.end(), options.begin(), options.end());
    return answer(arguments);
  }

  json::value answer(const std::vector<std::string>& arguments) {
    const Ended ended = windwright(arguments, folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    return base::json_from_text(ended.out, "stdout");
  }
};

// ISO/TS 28037:2010, 6.3 (p. 13): line, inverse and forward use.
TEST(CalibratePublished, Iso28037EqualUncertainties) {
  const json::value set = data("iso28037_equal_uncertainties.json");
  Bench bench("iso28037");
  const json::value got = bench.calibrated({{"reference", numbers(set, "/inputs/x")},
                                            {"reading", numbers(set, "/inputs/y")},
                                            {"u_reading", numbers(set, "/inputs/u_y")}},
                                           {"--model", "line"});
  for (const auto& [at, key] :
       {std::pair("/fit/coefficients/0", "a"), std::pair("/fit/coefficients/1", "b"),
        std::pair("/fit/standard_uncertainties/0", "u_a"),
        std::pair("/fit/standard_uncertainties/1", "u_b"),
        std::pair("/fit/covariance/0/1", "cov_ab"), std::pair("/fit/chi_squared", "chi2")}) {
    EXPECT_LE(relative(number(got, at), number(set, std::string("/crosscheck/") + key)), 1e-9)
        << key;
  }
  EXPECT_EQ(number(got, "/fit/degrees_of_freedom"), 4.0);
  const json::value value = bench.used({"--reading", "10.5", "--u-reading", "0.5"});
  EXPECT_LE(relative(number(value, "/value"), number(set, "/crosscheck/x")), 1e-9);
  EXPECT_LE(relative(number(value, "/u"), number(set, "/crosscheck/u_x")), 1e-9);
  const json::value reading = bench.used({"--reference", "3.5", "--u-reference", "0.2"});
  EXPECT_LE(relative(number(reading, "/mean/value"), number(set, "/crosscheck/y")), 1e-9);
  EXPECT_LE(relative(number(reading, "/mean/u"), number(set, "/crosscheck/u_y")), 1e-9);
}

// ISO/TS 28037:2010, 7.4 (p. 21): uncertainties in both, to the printed digits.
TEST(CalibratePublished, Iso28037UncertaintiesInBoth) {
  const json::value set = data("iso28037_uncertainties_in_x_and_y.json");
  Bench bench("iso28037_both");
  const json::value got = bench.calibrated({{"reference", numbers(set, "/inputs/x")},
                                            {"reading", numbers(set, "/inputs/y")},
                                            {"u_reference", numbers(set, "/inputs/u_x")},
                                            {"u_reading", numbers(set, "/inputs/u_y")}},
                                           {"--model", "line"});
  EXPECT_NEAR(number(got, "/fit/coefficients/0"), number(set, "/expected/a"), 0.00005);
  // The standard prints 2.159; to 10 digits it is 2.159656567.
  EXPECT_NEAR(number(got, "/fit/coefficients/1"), number(set, "/expected/b"), 0.001);
  EXPECT_LE(relative(number(got, "/fit/coefficients/1"), number(set, "/crosscheck/b")), 1e-9);
  EXPECT_NEAR(number(got, "/fit/standard_uncertainties/0"), number(set, "/expected/u_a"), 0.00005);
  EXPECT_NEAR(number(got, "/fit/standard_uncertainties/1"), number(set, "/expected/u_b"), 0.0001);
  EXPECT_NEAR(number(got, "/fit/covariance/0/1"), number(set, "/expected/cov_ab"), 0.00005);
  EXPECT_NEAR(number(got, "/fit/chi_squared"), number(set, "/expected/chi2"), 0.0005);
}

// Pearson's data with York's weights: parameters of Neri et al. (1989), uncertainties of York et
// al. (2004); Kalantar's (1992) differ by his linearisation, by 1 %.
TEST(CalibratePublished, YorkPearson) {
  const json::value set = data("york_pearson_errors_in_both.json");
  const auto u = [&set](const char* weights) {
    std::vector<double> result;
    for (const double weight : numbers(set, weights))
      result.push_back(1.0 / std::sqrt(weight));
    return result;
  };
  Bench bench("york");
  const json::value got = bench.calibrated({{"reference", numbers(set, "/inputs/x")},
                                            {"reading", numbers(set, "/inputs/y")},
                                            {"u_reference", u("/inputs/weight_x")},
                                            {"u_reading", u("/inputs/weight_y")}},
                                           {"--model", "line"});
  EXPECT_NEAR(number(got, "/fit/coefficients/0"), number(set, "/expected/a"), 5e-9);
  EXPECT_NEAR(number(got, "/fit/coefficients/1"), number(set, "/expected/b"), 5e-10);
  EXPECT_NEAR(number(got, "/fit/chi_squared") / 8.0, number(set, "/expected/reduced_chi2"), 5e-5);
  EXPECT_LE(relative(number(got, "/fit/standard_uncertainties/0"),
                     number(set, "/crosscheck/york2004_u_a")),
            1e-6);
  EXPECT_LE(relative(number(got, "/fit/standard_uncertainties/1"),
                     number(set, "/crosscheck/york2004_u_b")),
            1e-6);
  EXPECT_LE(relative(number(got, "/fit/covariance/0/1"), number(set, "/crosscheck/york2004_cov")),
            1e-5);
  EXPECT_LE(relative(number(got, "/fit/standard_uncertainties/0"), number(set, "/expected/u_a")),
            0.02);
  EXPECT_LE(relative(number(got, "/fit/standard_uncertainties/1"), number(set, "/expected/u_b")),
            0.02);
}

// Johnson, Miller and Freund, chapter 11 (pp. 305-315): line, confidence and prediction limits.
TEST(CalibratePublished, MillerFreundAirVelocity) {
  const json::value set = data("miller_freund_air_velocity_regression.json");
  Bench bench("miller");
  const json::value got = bench.calibrated(
      {{"reference", numbers(set, "/inputs/x")}, {"reading", numbers(set, "/inputs/y")}},
      {"--model", "line"});
  EXPECT_NEAR(number(got, "/fit/coefficients/0"), number(set, "/expected/a"), 0.0005);
  EXPECT_NEAR(number(got, "/fit/coefficients/1"), number(set, "/expected/b"), 0.000005);
  EXPECT_NEAR(number(got, "/fit/residual_sum_of_squares"), number(set, "/expected/residual_ss"),
              0.000005);
  EXPECT_NEAR(number(got, "/fit/t_statistics/1"), number(set, "/expected/t_statistic_slope"),
              0.005);
  const auto expect_interval = [&](const json::value& from, const std::string& at,
                                   const std::string& printed, double half_digit) {
    for (const char* end : {"/0", "/1"}) {
      EXPECT_NEAR(number(from, at + end), number(set, "/expected/" + printed + end), half_digit)
          << printed << end;
    }
  };
  expect_interval(got, "/fit/intervals_95/0", "intercept_95", 0.0005);
  const json::value at_190 = bench.used({"--reference", "190"});
  EXPECT_NEAR(number(at_190, "/mean/value"), number(set, "/expected/fit_at_190"), 0.005);
  expect_interval(at_190, "/mean/interval_95", "mean_95_at_190", 0.01);
  // The book rounds the fit to 0.80 before it adds and takes away: two units of the last digit.
  expect_interval(at_190, "/single/interval_95", "prediction_95_at_190", 0.0085);
  expect_interval(bench.used({"--reference", "450"}), "/single/interval_95", "prediction_95_at_450",
                  0.005);
  for (std::size_t k = 0; k < 3; ++k) {
    const std::string index = "/" + std::to_string(k);
    const std::string of[] = {"/value", "/interval_95/0", "/interval_95/1"};
    EXPECT_NEAR(number(at_190, "/mean" + of[k]), number(set, "/crosscheck/mean_190" + index), 1e-4);
    EXPECT_NEAR(number(at_190, "/single" + of[k]),
                number(set, "/crosscheck/prediction_190" + index), 1e-4);
  }
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.6.5; its digits are cut off, not rounded.
TEST(CalibratePublished, NistLoadCellQuadratic) {
  const json::value set = data("nist_handbook_load_cell_quadratic.json");
  Bench bench("load_cell");
  const std::vector<Column> readings{{"reference", numbers(set, "/inputs/load")},
                                     {"reading", numbers(set, "/inputs/response")}};
  const json::value got = bench.calibrated(readings, {"--model", "polynomial:2"});
  const std::pair<const char*, double> coefficients[] = {{"a", 1e-9}, {"b", 1e-6}, {"c", 1e-11}};
  const std::pair<const char*, double> spreads[] = {{"u_a", 1e-7}, {"u_b", 1e-9}, {"u_c", 1e-10}};
  for (std::size_t k = 0; k < 3; ++k) {
    const std::string index = std::to_string(k);
    EXPECT_NEAR(number(got, "/fit/coefficients/" + index),
                number(set, std::string("/expected/") + coefficients[k].first),
                coefficients[k].second);
    EXPECT_NEAR(number(got, "/fit/standard_uncertainties/" + index),
                number(set, std::string("/expected/") + spreads[k].first), spreads[k].second);
  }
  EXPECT_NEAR(number(got, "/fit/residual_standard_deviation"), number(set, "/expected/residual_sd"),
              1e-7);
  EXPECT_EQ(number(got, "/fit/degrees_of_freedom"), number(set, "/expected/dof"));
  // Left to choose, the program finds that degree; a line misses the repeats by far.
  EXPECT_EQ(bench.calibrated(readings, {"--model", "polynomial:auto"}).at("model").as_string(),
            "polynomial:2");
  EXPECT_TRUE(bench.calibrated(readings, {"--model", "line"})
                  .at_pointer("/diagnostics/lack_of_fit_test/is_significant")
                  .as_bool());
}

// Walpole and Myers, as worked in the documentation of a metrology library: 15 digits.
TEST(CalibratePublished, LineOf33PointsAndInversePrediction) {
  const json::value set = data("ols_line_33_points_inverse_prediction.json");
  Bench bench("line33");
  const json::value got = bench.calibrated(
      {{"reference", numbers(set, "/inputs/x")}, {"reading", numbers(set, "/inputs/y")}},
      {"--model", "line"});
  const auto expect = [&set](double value, const char* key) {
    EXPECT_LE(relative(value, number(set, std::string("/expected/") + key)), 1e-9) << key;
  };
  expect(number(got, "/fit/coefficients/0"), "a");
  expect(number(got, "/fit/coefficients/1"), "b");
  expect(number(got, "/fit/standard_uncertainties/0"), "u_a");
  expect(number(got, "/fit/standard_uncertainties/1"), "u_b");
  expect(number(got, "/fit/covariance/0/1") / number(got, "/fit/standard_uncertainties/0") /
             number(got, "/fit/standard_uncertainties/1"),
         "r_ab");
  const json::value value = bench.used({"--reading", "31.4,29.3,27.1"});
  expect(number(value, "/value"), "x_from_y_new");
  expect(number(value, "/u"), "u_x_from_y_new");
  EXPECT_NEAR(number(value, "/dof"), number(set, "/expected/dof"), 1e-6);
  const json::value reading = bench.used({"--reference", "21.5"});
  expect(number(reading, "/mean/value"), "mean_response_at_x_new");
  expect(number(reading, "/mean/u"), "u_mean_response");
  expect(number(reading, "/single/u"), "u_single_response");
}

// Transfer function of a common three-cup sensor, as published; its 13 points and what is checked
// here (`crosscheck`) were computed from it by another program, not printed anywhere. Regression of
// the speed over the frequency, as IEC 61400-12-1 has it.
TEST(CalibratePublished, CupAnemometerLine) {
  const json::value set = data("cup_anemometer_line_example.json");
  Bench bench("cup");
  const json::value got = bench.calibrated(
      {{"reference", numbers(set, "/inputs/V_ref")}, {"reading", numbers(set, "/inputs/f_Hz")}},
      {"--model", "cup"});
  const auto expect = [&set](double value, const char* key) {
    // Six digits or more are printed.
    EXPECT_LE(relative(value, number(set, std::string("/crosscheck/") + key)), 5e-6) << key;
  };
  EXPECT_LE(relative(number(got, "/fit/coefficients/1"), number(set, "/crosscheck/slope")), 1e-8);
  EXPECT_LE(relative(number(got, "/fit/coefficients/0"), number(set, "/crosscheck/offset")), 1e-8);
  expect(number(got, "/fit/residual_standard_deviation"), "residual_sd");
  expect(number(got, "/fit/standard_uncertainties/1"), "u_slope");
  expect(number(got, "/fit/standard_uncertainties/0"), "u_offset");
  expect(number(got, "/fit/covariance/0/1"), "cov");
  expect(std::sqrt(number(got, "/fit/r_squared")), "r");
}

// Pindado et al., Scientific World Journal 2013, 197325, Table 3: the constants of 21 rotors come
// back from readings made with them.
TEST(CalibratePublished, CupAnemometerConstants) {
  const base::Table table =
      base::Table::from_file(data_folder + "cup_anemometer_calibration_constants.csv");
  ASSERT_EQ(table.rows(), 21U);
  Bench bench("cups");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double per_pulse = table.number(row, 1);
    const double offset = table.number(row, 3);
    std::vector<double> speed;
    std::vector<double> frequency;
    for (int v = 4; v <= 16; ++v) {
      speed.push_back(v);
      frequency.push_back((v - offset) / per_pulse);
    }
    const json::value got = bench.calibrated({{"reference", speed}, {"reading", frequency}},
                                             {"--model", "cup", "--pulses-per-turn", "30"});
    EXPECT_NEAR(number(got, "/fit/coefficients/1"), per_pulse, 5e-7);
    EXPECT_NEAR(number(got, "/fit/coefficients/0"), offset, 5e-7);
    // Printed from unrounded constants: 30 times half a digit of the one per pulse.
    EXPECT_NEAR(number(got, "/derived/metres_per_turn/value"), table.number(row, 2), 30 * 5e-6);
  }
}

// King, Phil. Trans. R. Soc. A 214 (1914) 373; data made from stated coefficients.
TEST(CalibratePublished, HotWire) {
  const json::value set = data("hot_wire_king_law.json");
  Bench bench("hot_wire");
  const std::vector<Column> readings{{"reference", numbers(set, "/inputs/U")},
                                     {"reading", numbers(set, "/inputs/E")}};
  const json::value got = bench.calibrated(readings, {"--model", "king"});
  EXPECT_LE(relative(number(got, "/fit/coefficients/0"), number(set, "/coefficients/A")), 1e-6);
  EXPECT_LE(relative(number(got, "/fit/coefficients/1"), number(set, "/coefficients/B")), 1e-6);
  EXPECT_LE(relative(number(got, "/fit/coefficients/2"), number(set, "/coefficients/n")), 1e-6);
  const json::value fixed = bench.calibrated(readings, {"--model", "king:0.5"});
  EXPECT_GT(number(fixed, "/fit/residual_standard_deviation"),
            1e5 * number(got, "/fit/residual_standard_deviation"));
}

// IEC 60751: the coefficients come back from the table's resistances.
TEST(CalibratePublished, Pt100) {
  const base::Table table = base::Table::from_file(data_folder + "pt100_iec60751.csv");
  Bench bench("pt100");
  const json::value got = bench.calibrated(
      {{"reference", table.numbers(0)}, {"reading", table.numbers(1)}}, {"--model", "pt100:4"});
  EXPECT_LE(relative(number(got, "/fit/coefficients/0"), 100.0), 1e-7);
  EXPECT_LE(relative(number(got, "/fit/coefficients/1"), 3.9083e-3), 1e-6);
  EXPECT_LE(relative(number(got, "/fit/coefficients/2"), -5.775e-7), 1e-5);
  EXPECT_LE(relative(number(got, "/fit/coefficients/3"), -4.183e-12), 1e-4);
  EXPECT_EQ(got.at_pointer("/unit/reading").as_string(), "ohm");
  const json::value nominal =
      bench.answer({"calibrate", "--model", "pt100", "--reading", "138.5055", "--json"});
  EXPECT_NEAR(number(nominal, "/value"), 100.0, 1e-6);
}

// ITS-90: a thermocouple that follows its reference function has offset 0 and gain 1; and 4.096 mV
// of type K, with its cold junction at 20 degC or at 0.
TEST(CalibratePublished, Thermocouple) {
  const json::value set = data("thermocouple_its90.json");
  Bench bench("thermocouple");
  std::vector<double> temperature;
  std::vector<double> emf;
  for (const json::value& point : set.at_pointer("/crosscheck_mV/K").as_array()) {
    temperature.push_back(number(point, "/0"));
    emf.push_back(number(point, "/1"));
  }
  const json::value got = bench.calibrated({{"reference", temperature}, {"reading", emf}},
                                           {"--model", "thermocouple:K"});
  EXPECT_NEAR(number(got, "/fit/coefficients/0"), 0.0, 1e-5);
  EXPECT_NEAR(number(got, "/fit/coefficients/1"), 1.0, 1e-6);
  const json::value warm =
      bench.answer({"calibrate", "--model", "thermocouple:K", "--reading", "4.096", "--json"});
  EXPECT_NEAR(number(warm, "/value"), 100.0, 0.0005 / 0.041 + 0.001);
  const json::value from_20 = bench.answer({"calibrate", "--model", "thermocouple:K", "--reading",
                                            "3.2981103", "--cold-junction-C", "20", "--json"});
  EXPECT_NEAR(number(from_20, "/value"), 100.0, 1e-4);
}

// Steinhart and Hart: coefficients from three points, whose uncertainties are stated.
TEST(CalibratePublished, ThermistorFromThreePoints) {
  const json::value set = data("thermistor_steinhart_hart.json");
  Bench bench("thermistor");
  std::vector<double> temperature;
  std::vector<double> resistance;
  for (const json::value& point : set.at_pointer("/three_point_fit_test/use").as_array()) {
    temperature.push_back(number(point, "/0"));
    resistance.push_back(number(point, "/1"));
  }
  const json::value got = bench.calibrated(
      {{"reference", temperature}, {"reading", resistance}, {"u_reference", {0.01, 0.01, 0.01}}},
      {"--model", "ntc"});
  EXPECT_LE(relative(number(got, "/fit/coefficients/0"), number(set, "/coefficients/a")), 1e-6);
  EXPECT_LE(relative(number(got, "/fit/coefficients/1"), number(set, "/coefficients/b")), 1e-6);
  EXPECT_LE(relative(number(got, "/fit/coefficients/2"), number(set, "/coefficients/c")), 1e-6);
  EXPECT_EQ(number(got, "/fit/degrees_of_freedom"), 0.0);
}

// Anderson, Fundamentals of Aerodynamics, examples 3.7, 3.9 (4 km) and 3.10 (equivalent air speed:
// the pressure at height, read as at sea level), and Doebelin and Manik, example 7.1.
TEST(CalibratePublished, PitotStatic) {
  const json::value set = data("pitot_static_examples.json");
  Bench bench("pitot");
  const json::value speed = bench.answer(
      {"calibrate", "--model", "pitot", "--density", "1.225", "--reading", "3543.1", "--json"});
  EXPECT_LE(relative(number(speed, "/value"), number(set, "/cases/0/expected/V")), 1e-6);
  const auto pitot = [&bench](const json::value& density, const char* option, double value) {
    const std::string name = std::string("--") + option;
    return bench.answer({"calibrate", "--model", "pitot", "--density",
                         base::number_text(density.to_number<double>()), name,
                         base::number_text(value), "--json"});
  };
  const json::value& high = set.at_pointer("/cases/1/inputs");
  EXPECT_LE(
      relative(number(pitot(high.at("rho"), "reading", number(high, "/p0") - number(high, "/p")),
                      "/value"),
               number(set, "/cases/1/expected/V")),
      1e-6);
  const json::value& equivalent = set.at_pointer("/cases/2/inputs");
  const double pressure_Pa =
      number(pitot(equivalent.at("rho"), "reference", number(equivalent, "/V")), "/mean/value");
  EXPECT_LE(relative(number(pitot(equivalent.at("rho_0"), "reading", pressure_Pa), "/value"),
                     number(set, "/cases/2/expected/V_equivalent")),
            1e-6);
  const double density = 1e5 / (287.0 * 293.0);
  const json::value slow =
      bench.answer({"calibrate", "--model", "pitot", "--density", base::number_text(density),
                    "--reading", base::number_text(50.0 * density), "--u-reading", "1", "--json"});
  EXPECT_NEAR(100.0 * number(slow, "/u") / number(slow, "/value"),
              number(set, "/cases/4/expected/u_V_percent"), 5e-6);
}

// Anderson, example 3.4: an open tunnel with a contraction of 12, its wall pressures on a column of
// mercury.
TEST(CalibratePublished, PressureAcrossAContraction) {
  const json::value set = data("pitot_static_examples.json").at_pointer("/cases/3");
  Bench bench("contraction");
  const auto answer = [&](const char* option, double value) {
    return bench.answer({"calibrate", "--model", "pitot", "--density",
                         base::number_text(number(set, "/inputs/rho")), "--contraction",
                         base::number_text(number(set, "/inputs/contraction")), option,
                         base::number_text(value), "--json"});
  };
  const double pressure_Pa =
      number(answer("--reference", number(set, "/inputs/V_test")), "/mean/value");
  EXPECT_LE(relative(pressure_Pa, number(set, "/expected/dp")), 1e-6);
  EXPECT_LE(relative(pressure_Pa / (number(set, "/inputs/rho_Hg") * number(set, "/inputs/g")),
                     number(set, "/expected/dh_m")),
            1e-6);
  EXPECT_LE(relative(number(answer("--reading", number(set, "/expected/dp")), "/value"),
                     number(set, "/inputs/V_test")),
            1e-6);
}

// The isentropic relation of a perfect gas, computed apart (Anderson, 8.7.1), at the pressures of
// example 3.7; then a calibration whose readings follow it, and the same without compressibility,
// which misses them.
TEST(CalibratePublished, CompressiblePitot) {
  const json::value set = data("pitot_static_examples.json").at_pointer("/cases/5");
  Bench bench("compressible");
  const double static_Pa = number(set, "/inputs/p");
  const double density_kg_m3 = static_Pa / (number(set, "/inputs/R") * number(set, "/inputs/T_K"));
  const std::string model = "pitot:" + base::number_text(static_Pa);
  const std::string density = base::number_text(density_kg_m3);
  const json::value speed =
      bench.answer({"calibrate", "--model", model, "--density", density, "--reading",
                    base::number_text(number(set, "/inputs/p0") - static_Pa), "--json"});
  EXPECT_LE(relative(number(speed, "/value"), number(set, "/expected/V")), 1e-6);
  const double speed_of_sound_m_s = std::sqrt(1.4 * static_Pa / density_kg_m3);
  EXPECT_LE(relative(number(speed, "/value") / speed_of_sound_m_s, number(set, "/expected/Mach")),
            1e-6);
  std::string text = "# unit: reference = m s-1, reading = Pa\nreference,reading\n";
  for (const double mach : {0.05, 0.1, 0.15, 0.2, 0.25}) {
    text +=
        fmt::format("{},{}\n", base::number_text(mach * speed_of_sound_m_s),
                    base::number_text(static_Pa * (std::pow(1.0 + 0.2 * mach * mach, 3.5) - 1.0)));
  }
  write_text(bench.folder / "readings.csv", text);
  const auto residual = [&](const std::string& law) {
    return bench.answer(
        {"calibrate", "readings.csv", "--model", law, "--density", density, "--json"});
  };
  EXPECT_NEAR(number(residual(model), "/derived/tube_factor/value"), 1.0, 1e-9);
  EXPECT_LT(number(residual(model), "/fit/residual_standard_deviation"), 1e-6);
  EXPECT_GT(number(residual("pitot"), "/fit/residual_standard_deviation"), 1.0);
}

// Johnson, Miller and Freund, chapter 8 (p. 256): volumes of two fillings, Welch's t. Laid on a
// line with references that have nothing to do with them, so that the line takes nothing from their
// difference; the first filling rising, the second falling: the test of hysteresis is Welch's.
TEST(CalibratePublished, WelchsTestOfHysteresis) {
  const json::value set = data("miller_freund_two_sample_tests.json");
  std::vector<double> volume = numbers(set, "/inputs/volume_1");
  const std::vector<double> second = numbers(set, "/inputs/volume_2");
  const std::size_t rising = volume.size();
  volume.insert(volume.end(), second.begin(), second.end());
  const auto size = static_cast<double>(volume.size());
  const double mean = std::accumulate(volume.begin(), volume.end(), 0.0) / size;
  double along = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < volume.size(); ++i) {
    along += static_cast<double>(i) * (volume[i] - mean);
    squares += std::pow(volume[i] - mean, 2);
  }
  std::string text = "reference,reading,direction\n";
  for (std::size_t i = 0; i < volume.size(); ++i) {
    const double reference = static_cast<double>(i) - along / squares * (volume[i] - mean);
    text += base::number_text(reference) + ',' + base::number_text(volume[i] + 10.0 * reference) +
            (i < rising ? ",up\n" : ",down\n");
  }
  Bench bench("welch");
  write_text(bench.folder / "readings.csv", text);
  const json::value got = bench.answer({"calibrate", "readings.csv", "--model", "line", "--json"});
  EXPECT_LE(relative(number(got, "/diagnostics/hysteresis/p"), number(set, "/crosscheck/welch_p")),
            1e-4);
  EXPECT_TRUE(got.at_pointer("/diagnostics/hysteresis/is_significant").as_bool());
}

}  // namespace
}  // namespace windwright::end_to_end
