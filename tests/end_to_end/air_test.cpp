// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

const std::vector<std::string> laboratory{"air",  "--temperature-C", "20", "--pressure-hPa",
                                          "1000", "--humidity-pct",  "50"};

boost::json::object answer(std::vector<std::string> more) {
  auto words = laboratory;
  words.insert(words.end(), more.begin(), more.end());
  words.emplace_back("--json");
  const auto ended = windwright(words, scratch_folder("air"));
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return boost::json::parse(ended.out).as_object();
}

double number(const boost::json::object& document, const char* property, const char* field) {
  return document.at(property).at(field).to_number<double>();
}

// Density: CIPM-2007 (Picard et al. 2008) at 20 degC, 1000 hPa, 50 %, as in
// tests/published/data/air_density_cipm2007.csv.
TEST(Air, GivesQuantitiesWithUnits) {
  const auto document = answer({});
  EXPECT_NEAR(number(document, "density_kg_m3", "value"), 1.1835566, 1e-7);
  EXPECT_EQ(document.at("density_kg_m3").at("unit").as_string(), "kg m-3");
  EXPECT_TRUE(document.at("density_kg_m3").at("dof").is_null());
  EXPECT_EQ(document.at("dynamic_viscosity_Pa_s").at("unit").as_string(), "Pa s");
  EXPECT_NEAR(number(document, "dynamic_viscosity_Pa_s", "value"), 1.81341e-5, 1e-10);
  EXPECT_EQ(document.at("speed_of_sound_m_s").at("unit").as_string(), "m s-1");
}

TEST(Air, CarriesTheEquationsOwnUncertaintyWhenNoneIsGiven) {
  const auto document = answer({});
  EXPECT_NEAR(number(document, "density_kg_m3", "u"), 2.2e-5 * 1.1835566, 1e-10);
}

// Density goes with pressure, and nearly with the inverse of temperature.
TEST(Air, CombinesTheUncertaintiesOfItsInputs) {
  const auto pressure = answer({"--u-pressure-hPa", "1"});
  EXPECT_NEAR(number(pressure, "density_kg_m3", "u") / 1.1835566, std::hypot(1e-3, 2.2e-5), 2e-5);
  const auto both = answer({"--u-pressure-hPa", "1", "--u-temperature-C", "0.5"});
  EXPECT_NEAR(number(both, "density_kg_m3", "u") / 1.1835566, std::hypot(1e-3, 1.05 * 0.5 / 293.15),
              1e-4);
}

TEST(Air, ShowsTheSameToPeople) {
  const auto ended = windwright(laboratory, scratch_folder("air-text"));
  EXPECT_EQ(ended.exit_code, 0);
  EXPECT_NE(ended.out.find("1.183557 kg m-3"), std::string::npos) << ended.out;
}

TEST(Air, RefusesAStateThatCannotBe) {
  const auto complaint = [](std::vector<std::string> words) {
    words.insert(words.begin(), "air");
    const auto ended = windwright(words, scratch_folder("air-bad"));
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(ended.out, "");
    return ended.err;
  };
  EXPECT_EQ(complaint({"--temperature-C", "20", "--pressure-hPa", "1000", "--humidity-pct", "101"}),
            "--humidity-pct: is '101': a number from 0 to 100\n");
  EXPECT_EQ(complaint({"--temperature-C", "nan", "--pressure-hPa", "1000", "--humidity-pct", "10"}),
            "--temperature-C: is 'nan': a number from -60 to 80\n");
  EXPECT_EQ(complaint({"--temperature-C", "20", "--pressure-hPa", "1000", "--humidity-pct", "10",
                       "--u-pressure-hPa", "-1"}),
            "--u-pressure-hPa: is '-1': a number from 0 to 90\n");
}

}  // namespace
}  // namespace windwright::end_to_end
