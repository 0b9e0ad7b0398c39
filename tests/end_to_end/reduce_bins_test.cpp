// SPDX-License-Identifier: Apache-2.0
// Power curves by the method of bins, through the program.
#include "base/json.h"
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <iterator>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

// IEC 61400-12-1:2017, 9.3 (method from memory): a made power curve, its sum over bins and its
// exact integral over Rayleigh winds of 4 to 11 m/s, worked out outside this project to 0.1 Wh
// (held to 1 Wh at 11 m/s, where the exact one is printed so).
TEST(ReduceBins, GivesTheAnnualEnergyOfTheMadeCurve) {
  const fs::path folder = scratch_folder("reduce-bins-made");
  const json::value set =
      base::json_from_file(fs::path(SOURCE_FOLDER) / "tests/published/data/aep_rayleigh_bins.json");
  std::string csv = "air_speed_m_s,air_density_kg_m3,ac_power_W\n";
  const json::array& corners = set.at_pointer("/inputs/power_curve_points").as_array();
  const auto number = [&](std::size_t corner, std::size_t column) {
    return corners[corner].at(column).to_number<double>();
  };
  for (std::size_t i = 0; i + 1 < corners.size(); ++i) {
    for (double v = number(i, 0); v < number(i + 1, 0); v += 0.5) {
      const double part = (v - number(i, 0)) / (number(i + 1, 0) - number(i, 0));
      csv += fmt::format("{},1.225,{}\n", v, std::lerp(number(i, 1), number(i + 1, 1), part));
    }
  }
  csv += "25,1.225,1000\n";
  write_text(folder / "made.csv", csv);
  const Ended ended = windwright({"reduce", "made.csv", "--bins", "--json"}, folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value got = base::json_from_text(ended.out, "stdout");
  EXPECT_EQ(got.at("bins").as_array().size(), 46U);
  const json::array& expected = set.at("expected").as_array();
  const json::array& energies = got.at("annual_energy").as_array();
  ASSERT_EQ(energies.size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) {
    EXPECT_EQ(energies[i].at("mean_air_speed_m_s").to_number<double>(),
              expected[i].at("mean").to_number<double>());
    EXPECT_NEAR(1000.0 * energies[i].at("energy_kWh").to_number<double>(),
                expected[i].at("iec_sum_Wh").to_number<double>(), 0.0501);
    EXPECT_NEAR(1000.0 * energies[i].at("exact_energy_kWh").to_number<double>(),
                expected[i].at("exact_quadrature_Wh").to_number<double>(), i < 7 ? 0.0501 : 0.501);
  }
}

// Measured curves of four small turbines (test reports named in the files): annual energies worked
// out outside this project to 1 kWh, two of them as on the certification label (from memory) to
// 1 %; power coefficients as printed with two decimals, the 1 kW curve's power to 10 W.
TEST(ReduceBins, GivesThePublishedAnnualEnergyByBins) {
  const fs::path folder = scratch_folder("reduce-bins");
  const fs::path data = fs::path(SOURCE_FOLDER) / "tests/published/data";
  const base::Table printed = base::Table::from_file(data / "annual_energy_small_turbines.csv");
  const char* files[] = {"power_curve_1kw_2p1m_tp5000_56499.csv",
                         "power_curve_8p9kw_7m_swcc_10_12.csv",
                         "power_curve_2p1kw_3p7m_swcc_10_20.csv", "power_curve_3p31kw_5p04m.csv"};
  ASSERT_EQ(printed.rows(), std::size(files));
  for (std::size_t row = 0; row < printed.rows(); ++row) {
    SCOPED_TRACE(files[row]);
    const auto of = [&](const std::string& name) {
      return printed.number(row, printed.required_column(name));
    };
    const base::Table curve = base::Table::from_file(data / files[row]);
    std::string csv = "air_speed_m_s,air_density_kg_m3,ac_power_W\n";
    for (std::size_t bin = 0; bin < curve.rows(); ++bin)
      csv += fmt::format("{},1.225,{}\n", curve.text(bin, 0), 1000.0 * curve.number(bin, 1));
    write_text(folder / "curve.csv", csv);
    const double area_m2 = std::numbers::pi / 4.0 * std::pow(of("diameter_m"), 2);
    const Ended ended = windwright(
        {"reduce", "curve.csv", "--bins", "--swept-area", fmt::format("{}", area_m2), "--json"},
        folder);
    ASSERT_EQ(ended.exit_code, 0) << ended.err;
    const json::value got = base::json_from_text(ended.out, "stdout");
    const json::array& bins = got.at("bins").as_array();
    ASSERT_EQ(bins.size(), curve.rows());
    EXPECT_TRUE(bins[3].at("u_b_W").is_null()) << "nothing is stated";
    for (std::size_t bin = 0; bin < curve.rows(); ++bin) {
      if (curve.number(bin, 0) <= 4.0 || curve.number(bin, 2) == 0.0) continue;
      EXPECT_NEAR(bins[bin].at("cp").to_number<double>(), curve.number(bin, 2),
                  row == 0 ? 0.014 : 0.006);
    }
    const json::array& energies = got.at("annual_energy").as_array();
    ASSERT_EQ(energies.size(), 8U);
    for (std::size_t i = 0; i < 5; ++i) {
      EXPECT_NEAR(energies[i].at("energy_kWh").to_number<double>(),
                  of(fmt::format("measured_{}_m_s", i + 4)), 0.501);
      EXPECT_NEAR(energies[i].at("extrapolated_energy_kWh").to_number<double>(),
                  of(fmt::format("extrapolated_{}_m_s", i + 4)), 0.501);
      EXPECT_TRUE(energies[i].at("u_kWh").is_null());
    }
    const std::string label = printed.text(row, printed.required_column("certified_label_5_m_s"));
    if (label.empty()) continue;
    EXPECT_NEAR(energies[1].at("energy_kWh").to_number<double>() / std::stod(label), 1.0, 0.01);
  }
}

TEST(ReduceBins, StatesTheUncertaintyOfAPowerCurve) {
  const fs::path folder = scratch_folder("reduce-bins-u");
  const std::string minutes = SOURCE_FOLDER "/examples/roof-turbine/minutes.csv";
  const Ended ended = windwright(
      {"reduce", minutes, "--bins", "--json", "--swept-area", "3.46", "--u-air-speed-pct", "1",
       "--mean-air-speed-m-s", "5.4", "--weibull-shape", "1.8"},
      folder);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const json::value got = base::json_from_text(ended.out, "stdout");
  const json::array& energies = got.at("annual_energy").as_array();
  ASSERT_EQ(energies.size(), 9U);
  EXPECT_EQ(energies[8].at("weibull_shape").to_number<double>(), 1.8);
  for (const json::value& bin : got.at("bins").as_array()) {
    if (bin.at("u_c_W").is_null()) continue;
    EXPECT_GT(bin.at("expanded_95_W").to_number<double>(),
              1.95 * bin.at("u_c_W").to_number<double>());
    EXPECT_GE(bin.at("dof").to_number<double>(), 1.0);
  }
  // 1 % of speed is up to 3 % of power below the rated power, and less of a year's energy.
  const double part = energies[2].at("u_kWh").to_number<double>() /
                      energies[2].at("energy_kWh").to_number<double>();
  EXPECT_GT(part, 0.01);
  EXPECT_LT(part, 0.03);
  EXPECT_TRUE(energies[2].at("complete").as_bool());
  EXPECT_FALSE(energies[7].at("complete").as_bool());
  EXPECT_EQ(energies[2].at("u_categories").as_string(), "A and B") << "two bins of a single minute";
  EXPECT_FALSE(got.at_pointer("/completeness/complete").as_bool());
  EXPECT_FALSE(got.at_pointer("/completeness/empty_bins_m_s").as_array().empty());
}

json::value energies_of_bins(const fs::path& folder, std::vector<std::string> more) {
  std::vector<std::string> all{"reduce", "minutes.csv", "--bins", "--json"};
  all.insert(all.end(), more.begin(), more.end());
  const Ended ended = windwright(all, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return base::json_from_text(ended.out, "stdout");
}

TEST(ReduceBins, LeavesTheEnergysUncertaintyOpenWhereABinsIs) {
  const fs::path folder = scratch_folder("reduce-open-energy");
  const std::string two = "air_speed_m_s,air_density_kg_m3,ac_power_W\n3,1.2,20\n3.1,1.2,22\n";
  write_text(folder / "minutes.csv", two + "4,1.2,50\n4.1,1.2,52\n5,1.2,200\n");
  const json::value pooled = energies_of_bins(folder, {"--u-power-pct", "1"});
  EXPECT_EQ(pooled.at_pointer("/annual_energy/0/u_categories").as_string(), "A and B");
  EXPECT_NE(windwright({"reduce", "minutes.csv", "--bins"}, folder).out.find("from its neighbours"),
            std::string::npos);
  write_text(folder / "minutes.csv", two + "4,1.2,50\n4.1,1.2,52\n6,1.2,200\n");
  const json::value open = energies_of_bins(folder, {"--u-power-pct", "1"});
  EXPECT_TRUE(open.at_pointer("/annual_energy/0/u_kWh").is_null());
  EXPECT_TRUE(open.at_pointer("/annual_energy/0/u_extrapolated_kWh").is_null());
  EXPECT_TRUE(open.at_pointer("/annual_energy/0/u_categories").is_null());
  const Ended text = windwright({"reduce", "minutes.csv", "--bins"}, folder);
  EXPECT_NE(text.out.find("± -"), std::string::npos) << text.out;

  write_text(folder / "minutes.csv", two + "4,1.2,50\n4.1,1.2,52\n6,1.2,200\n6.1,1.2,210\n");
  const json::value scatter = energies_of_bins(folder, {});
  EXPECT_EQ(scatter.at_pointer("/annual_energy/0/u_categories").as_string(), "A");
  EXPECT_GT(scatter.at_pointer("/annual_energy/0/u_kWh").to_number<double>(), 0.0);
  EXPECT_NE(windwright({"reduce", "minutes.csv", "--bins"}, folder).out.find("category A only"),
            std::string::npos);
  const json::value both = energies_of_bins(folder, {"--u-power-pct", "1"});
  EXPECT_EQ(both.at_pointer("/annual_energy/0/u_categories").as_string(), "A and B");
}

TEST(ReduceBins, SetsCalmMinutesAside) {
  const fs::path folder = scratch_folder("reduce-calm");
  const std::string wind = "3,1.2,20\n3.1,1.2,22\n4,1.2,50\n4.1,1.2,52\n";
  const std::string head = "air_speed_m_s,air_density_kg_m3,ac_power_W\n";
  write_text(folder / "minutes.csv", head + wind);
  const json::value without = energies_of_bins(folder, {"--swept-area", "2"});
  write_text(folder / "minutes.csv", head + "0,1.2,-1\n" + wind + "0,1.2,-1\n");
  const json::value calm = energies_of_bins(folder, {"--swept-area", "2"});
  EXPECT_EQ(calm.at("bins"), without.at("bins"));
  EXPECT_EQ(calm.at("annual_energy"), without.at("annual_energy"));
  EXPECT_NE(json::serialize(calm.at("remarks")).find("2 rows below 0.25 m/s"), std::string::npos);
}

}  // namespace
}  // namespace windwright::end_to_end
