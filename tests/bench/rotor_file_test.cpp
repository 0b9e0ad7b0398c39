// SPDX-License-Identifier: Apache-2.0
#include "bench/rotor_file.h"

#include "base/errors.h"
#include "base/files.h"
#include "physics/rotor.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <numbers>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {
namespace {

constexpr double degree = std::numbers::pi / 180.0;
const std::filesystem::path demo = SOURCE_FOLDER "/examples/saltmarsh-college";

const std::string good_polar =
    "# made for this test\nreynolds,alpha_deg,cl,cd\n1e5,-10,-0.8,0.03\n1e5,0,0.2,0.01\n"
    "1e5,10,1.1,0.03\n";
const std::string good_rotor = R"(schema = 1
[rotor]
blades = 3
hub_radius_m = 0.05
tip_radius_m = 0.25
pitch_deg = 2.0
[[station]]
radius_m = 0.05
chord_m = 0.05
twist_deg = 20.0
polar = "polar.csv"
[[station]]
radius_m = 0.25
chord_m = 0.03
twist_deg = 1.0
polar = "polar.csv"
)";

// A folder of its own for every test, gone with it.
class RotorFile : public testing::Test {
 protected:
  RotorFile()
      : folder_(std::filesystem::path(testing::TempDir()) /
                fmt::format("rotor-{}-{}",
                            testing::UnitTest::GetInstance()->current_test_info()->name(),
                            getpid())) {
    std::filesystem::create_directories(folder_);
  }
  ~RotorFile() override { std::filesystem::remove_all(folder_); }

  std::filesystem::path put(const std::string& name, std::string_view text) const {
    base::write_whole(folder_ / name, text);
    return folder_ / name;
  }
  // The message with the folder's name taken off.
  std::string complaint(const std::string& rotor_text, const std::string& polar_text) const {
    put("polar.csv", polar_text);
    try {
      rotor_from_file(put("rotor.toml", rotor_text));
    } catch (const base::BadInput& error) {
      std::string message = error.what();
      const std::string prefix = folder_.string() + "/";
      if (message.starts_with(prefix)) message = message.substr(prefix.size());
      return message;
    }
    return "accepted";
  }

  std::filesystem::path folder_;
};

std::string replaced(std::string text, std::string_view what, std::string_view with) {
  const auto at = text.find(what);
  EXPECT_NE(at, std::string::npos) << what;
  return text.replace(at, what.size(), with);
}

TEST_F(RotorFile, GivesWhatStandsInIt) {
  put("polar.csv", good_polar);
  const auto rotor = rotor_from_file(put("rotor.toml", good_rotor));
  EXPECT_EQ(rotor.blades, 3);
  EXPECT_EQ(rotor.hub_radius_m, 0.05);
  EXPECT_EQ(rotor.tip_radius_m, 0.25);
  EXPECT_DOUBLE_EQ(rotor.pitch_rad, 2.0 * degree);
  ASSERT_EQ(rotor.stations.size(), 2U);
  EXPECT_DOUBLE_EQ(rotor.stations[0].twist_rad, 20.0 * degree);
  EXPECT_EQ(rotor.stations[1].chord_m, 0.03);
  EXPECT_EQ(rotor.stations[0].polar, rotor.stations[1].polar);  // one table, read once
  EXPECT_NEAR(rotor.stations[0].polar->at(0.0, 1e5).cl, 0.2, 1e-15);
}

TEST_F(RotorFile, IsReadFromTheFolderOneStandsIn) {
  put("polar.csv", good_polar);
  put("rotor.toml", good_rotor);
  const auto before = std::filesystem::current_path();
  std::filesystem::current_path(folder_);
  EXPECT_NO_THROW(rotor_from_file("rotor.toml"));
  std::filesystem::current_path(before);
}

TEST_F(RotorFile, SaysWhereAndWhatIsWrongWithARotor) {
  struct Case {
    std::string_view what, with, message;
  };
  const std::vector<Case> cases{
      {"blades = 3\n", "", "rotor.toml:2: key 'blades' is missing"},
      {"blades = 3", "blades = 0", "rotor.toml:3: blades is 0"},
      {"blades = 3", "blades = 13", "rotor.toml:3: blades is 13"},
      {"blades = 3", "blades = 2.5", "rotor.toml:3: blades is the number 2.5"},
      {"hub_radius_m = 0.05", "hub_radius_m = -0.05", "rotor.toml:4: hub_radius_m is -0.05"},
      {"hub_radius_m = 0.05", "hub_radius_m = nan", "rotor.toml:4: hub_radius_m is nan"},
      {"hub_radius_m = 0.05", "hub_radius_m = 0.3",
       "rotor.toml:4: hub_radius_m is 0.3, tip_radius_m 0.25: a hub radius below the tip radius"},
      {"hub_radius_m = 0.05", "hub_radius_m = 0.04",
       "rotor.toml:8: the first station is at 0.05 m, the hub radius is 0.04 m"},
      {"tip_radius_m = 0.25", "tip_radius_m = 0.26",
       "rotor.toml:13: the last station is at 0.25 m, the tip radius is 0.26 m"},
      {"pitch_deg = 2.0", "pitch_deg = 200", "rotor.toml:6: pitch_deg is 200"},
      {"pitch_deg", "pitch_rad", "rotor.toml:2: key 'pitch_deg' is missing"},
      {"chord_m = 0.05", "chord_m = 0", "rotor.toml:9: chord_m is 0: a number above 0"},
      {"chord_m = 0.05", "chord_m = -0.05", "rotor.toml:9: chord_m is -0.05"},
      {"chord_m = 0.05", "chord_m = 5", "rotor.toml:9: chord_m is 5"},
      {"chord_m = 0.05", "chord_m = \"0.05\"", "rotor.toml:9: chord_m is the text '0.05'"},
      {"twist_deg = 20.0", "twist_deg = -181", "rotor.toml:10: twist_deg is -181"},
      {"radius_m = 0.25\nchord", "radius_m = 0.05\nchord",
       "rotor.toml:13: radius_m is 0.05 after 0.05: stations from hub to tip"},
      {"polar = \"polar.csv\"", "polar = \"missing.csv\"",
       "rotor.toml:11: file 'missing.csv' does not exist"},
      {"polar = \"polar.csv\"", "polar = \"../polar.csv\"",
       "rotor.toml:11: path '../polar.csv' leads outside the folder"},
      {"polar = \"polar.csv\"", "polar = \"/etc/passwd\"",
       "rotor.toml:11: path '/etc/passwd' is not relative"},
      {"twist_deg = 20.0", "twist_deg = 20.0\ntwist_degs = 1.0",
       "rotor.toml:11: key 'twist_degs' is not known here"},
      {"schema = 1", "schema = 2", "rotor.toml:1: this schema is not known"},
      {"[rotor]", "[rotor", "rotor.toml:2: is not TOML"},
  };
  for (const Case& one : cases) {
    const std::string message = complaint(replaced(good_rotor, one.what, one.with), good_polar);
    EXPECT_TRUE(message.starts_with(one.message)) << message << "\nwanted: " << one.message;
  }
  const std::string one_station = good_rotor.substr(0, good_rotor.rfind("[[station]]"));
  EXPECT_EQ(complaint(one_station, good_polar),
            "rotor.toml:2: the rotor has 1 stations: at least two tables [[station]]");
  EXPECT_EQ(complaint(good_rotor, good_polar), "accepted");
}

TEST_F(RotorFile, SaysWhereAndWhatIsWrongWithAPolar) {
  struct Case {
    std::string_view what, with, message;
  };
  const std::vector<Case> cases{
      {"1e5,0,0.2,0.01", "1e5,0,nan,0.01", "polar.csv:4: cl is 'nan': a finite decimal number"},
      {"1e5,0,0.2,0.01", "1e5,0,0.2", "polar.csv:4: the row has 3 fields"},
      {"1e5,0,0.2,0.01", "1e5,0,0.2,-0.01", "polar.csv:4: cd is -0.01"},
      {"1e5,0,0.2,0.01", "-1e5,0,0.2,0.01", "polar.csv:4: reynolds is -100000"},
      {"1e5,0,0.2,0.01", "1e5,190,0.2,0.01", "polar.csv:4: alpha_deg is 190"},
      {"1e5,0,0.2,0.01", "2e5,0,0.2,0.01",
       "polar.csv:3: Reynolds number 100000 has only 2 rows: at least 3"},
      {"1e5,-10,", "1e5,1,",
       "polar.csv:3: the angles of Reynolds number 100000 go from 0 to 10"
       " degrees"},
      {"cl,cd", "cl,drag", "polar.csv:2: column 'drag' is not known"},
      {"alpha_deg,", "", "polar.csv:3: the row has 4 fields: 3 fields, as in the header"},
  };
  for (const Case& one : cases) {
    const std::string message = complaint(good_rotor, replaced(good_polar, one.what, one.with));
    if (one.with == "1e5,1,") {
      // Still 10 degrees wide with 0 at its edge: enough.
      EXPECT_EQ(message, "accepted");
      continue;
    }
    EXPECT_TRUE(message.starts_with(one.message)) << message << "\nwanted: " << one.message;
  }
  EXPECT_TRUE(
      complaint(good_rotor, replaced(good_polar, "1e5,-10,", "1e5,3,")).starts_with("accepted"));
  EXPECT_EQ(complaint(good_rotor,
                      replaced(replaced(good_polar, "1e5,-10,", "1e5,3,"), "1e5,10,", "1e5,9,")),
            "polar.csv:3: the angles of Reynolds number 100000 go from 0 to 9 degrees: a range of "
            "at least 10 degrees with 0 in it");
}

TEST_F(RotorFile, AMomentColumnIsAllowedInAPolar) {
  std::string polar = good_polar;
  polar = replaced(polar, "cl,cd", "cl,cd,cm");
  polar = replaced(polar, "0.03\n", "0.03,0\n");
  polar = replaced(polar, "0.01\n", "0.01,-0.05\n");
  polar = replaced(polar, "1.1,0.03\n", "1.1,0.03,0\n");
  EXPECT_EQ(complaint(good_rotor, polar), "accepted");
}

// The figures of the demo's polar are those of the formulas in its own head.
TEST(DemoPolar, FollowsItsStatedFormulas) {
  const auto polar = polar_from_file(demo / "polars" / "cambered-plate.csv");
  for (const double reynolds : {2e4, 5e4, 1e5, 2e5, 4e5}) {
    for (const double alpha_deg : {-20.0, -8.0, -3.0, 0.0, 4.0, 9.0, 12.0, 15.0, 20.0, 30.0}) {
      const double a = alpha_deg * degree;
      const double attached = 0.9 * 2.0 * std::numbers::pi * (a + 0.08);
      const double p = 11.5 + 2.5 * std::log10(reynolds / 1e5);
      const double f = 1.0 / ((1.0 + std::exp((alpha_deg - p) / 2.5)) *
                              (1.0 + std::exp((-8.0 - alpha_deg) / 2.5)));
      const double cl = f * attached + (1.0 - f) * 1.8 * std::sin(a + 0.08) * std::cos(a);
      const double cf = std::max(1.328 / std::sqrt(reynolds),
                                 0.455 / std::pow(std::log10(reynolds), 2.58) - 1050.0 / reynolds);
      const double cd = 1.3 * 2.0 * cf + 0.008 +
                        0.02 * std::pow(1e5 / reynolds, 0.3) * std::pow(attached - 0.5, 2) * f +
                        (1.0 - f) * 1.8 * std::pow(std::sin(a), 2);
      const auto force = polar.at(a, reynolds);
      EXPECT_NEAR(force.cl, cl, 5.1e-5) << reynolds << " " << alpha_deg;
      EXPECT_NEAR(force.cd, cd, 5.1e-5) << reynolds << " " << alpha_deg;
    }
  }
}

// The campaign's question needs all four settings to work and pitch and blade count to matter.
TEST(DemoRotor, WorksWithTwoAndThreeBladesAtBothPitches) {
  auto rotor = rotor_from_file(demo / "rotor.toml");
  const auto best_cp = [&](int blades, double pitch_deg) {
    rotor.blades = blades;
    rotor.pitch_rad = pitch_deg * degree;
    double best = 0.0;
    for (int quarters = 4; quarters <= 32; ++quarters) {
      const double ratio = 0.25 * quarters;
      best = std::max(
          best, physics::rotor_load(rotor, {.air_speed_m_s = 8.0,
                                            .rotor_speed_rad_s = ratio * 8.0 / rotor.tip_radius_m,
                                            .density_kg_m3 = 1.2,
                                            .dynamic_viscosity_Pa_s = 1.8e-5})
                    .cp);
    }
    return best;
  };
  for (const int blades : {2, 3}) {
    EXPECT_GT(best_cp(blades, 10.0), 0.25) << blades;
    EXPECT_GT(best_cp(blades, 5.0), best_cp(blades, 10.0) + 0.02) << blades;
    EXPECT_GT(best_cp(blades, 5.0), best_cp(blades, 0.0)) << blades;
  }
  EXPECT_GT(best_cp(3, 5.0), best_cp(2, 5.0) + 0.01);
}

const std::string good_blade =
    "[blade]\ndensity_kg_m3 = 1250\nstrength_Pa = 45e6\nsection = \"naca4412\"\n";

TEST_F(RotorFile, ReadsWhatTheBladesAreMadeOf) {
  put("polar.csv", good_polar);
  const auto file = rotor_and_blade_from_file(put("rotor.toml", good_rotor + good_blade));
  ASSERT_TRUE(file.blade.has_value());
  EXPECT_EQ(file.blade->safety_factor, 9.0);  // nothing stated
  EXPECT_DOUBLE_EQ(file.blade->blade.allowable_stress_Pa, 5e6);
  EXPECT_DOUBLE_EQ(file.blade->blade.section.camber, 0.04);
  EXPECT_DOUBLE_EQ(file.blade->blade.section.camber_position, 0.4);
  EXPECT_DOUBLE_EQ(file.blade->blade.section.thickness, 0.12);
  EXPECT_FALSE(rotor_and_blade_from_file(put("bare.toml", good_rotor)).blade.has_value());
}

TEST_F(RotorFile, WritesARotorThatReadsBackTheSame) {
  put("polar.csv", good_polar);
  for (const char* section :
       {"section = \"naca4412\"\ntrailing_edge_m = 0.0007\nroot_diameter_m = 0.011\n",
        "section = \"plate\"\nthickness_m = 0.002\ncamber_pct = 5\nhighest_tip_speed_m_s = 80\n",
        "section = \"own.csv\"\nsafety_factor = 4.5\n"}) {
    put("own.csv",
        "x,y\n1,0.01\n0.5,0.08\n0.2,0.08\n0.05,0.04\n0,0\n0.05,-0.03\n0.2,-0.04\n0.5,-0.03\n"
        "1,-0.01\n");
    const auto first = rotor_and_blade_from_file(
        put("rotor.toml",
            good_rotor + "[blade]\ndensity_kg_m3 = 1250\nstrength_Pa = 45e6\n" + section));
    const std::string text = rotor_text(first, "polar.csv", "line one\nline two");
    EXPECT_TRUE(text.starts_with("# line one\n# line two\nschema = 1\n"));
    const auto second = rotor_and_blade_from_file(put("again.toml", text));
    EXPECT_EQ(rotor_text(second, "polar.csv", "line one\nline two"), text);
    ASSERT_EQ(second.rotor.stations.size(), 2U);
    EXPECT_EQ(second.rotor.stations[1].chord_m, first.rotor.stations[1].chord_m);
    EXPECT_NEAR(second.rotor.pitch_rad, first.rotor.pitch_rad, 1e-15);
    EXPECT_EQ(second.blade->blade.allowable_stress_Pa, first.blade->blade.allowable_stress_Pa);
    EXPECT_EQ(second.blade->blade.section.thickness_m, first.blade->blade.section.thickness_m);
    EXPECT_EQ(second.blade->blade.root_diameter_m, first.blade->blade.root_diameter_m);
  }
}

TEST_F(RotorFile, RefusesABladeThatCannotBeJudged) {
  const auto with = [&](std::string_view what, std::string_view instead) {
    return complaint(good_rotor + replaced(good_blade, what, instead), good_polar);
  };
  EXPECT_NE(with("naca4412", "oak").find("rotor.toml:20: section 'oak' is not known"),
            std::string::npos);
  EXPECT_NE(with("naca4412", "naca4012").find("section 'naca4012' is no section"),
            std::string::npos);
  EXPECT_NE(with("\"naca4412\"", "\"plate\"\nthickness_m = 0.02").find("rotor.toml:21"),
            std::string::npos);
  EXPECT_NE(with("strength_Pa = 45e6\n", "").find("strength_Pa"), std::string::npos);
  put("bad.csv", "x,y\n1,0\n0.5,0.1\n0.6,0.1\n0.2,0.1\n0,0\n0.2,-0.1\n0.5,-0.1\n0.8,-0.1\n1,0\n");
  EXPECT_NE(with("naca4412", "bad.csv").find("bad.csv:4: x goes from 0.5 to 0.6"),
            std::string::npos)
      << with("naca4412", "bad.csv");
}

}  // namespace
}  // namespace windwright::bench
