// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <map>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

std::uint32_t number_32(const std::string& bytes, std::size_t at) {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < 4; ++i)
    value |= static_cast<std::uint32_t>(static_cast<unsigned char>(bytes[at + i])) << (8 * i);
  return value;
}

using Point = std::array<float, 3>;
using Triangle = std::array<Point, 3>;

// The binary form of the mesh format: 80 bytes, a count, 50 bytes a triangle (the format's own
// description by its first publisher, common practice).
std::vector<Triangle> triangles_of(const std::string& bytes) {
  EXPECT_GE(bytes.size(), 84U);
  const std::uint32_t count = number_32(bytes, 80);
  EXPECT_EQ(bytes.size(), 84U + 50U * count);
  std::vector<Triangle> triangles(count);
  for (std::size_t i = 0; i < count; ++i) {
    for (std::size_t corner = 0; corner < 3; ++corner) {
      for (std::size_t axis = 0; axis < 3; ++axis) {
        triangles[i][corner][axis] =
            std::bit_cast<float>(number_32(bytes, 84 + 50 * i + 12 + 12 * corner + 4 * axis));
      }
    }
  }
  return triangles;
}

class RotorDesign : public testing::Test {
 protected:
  RotorDesign()
      : folder_(bench_folder(std::string("design-") +
                             testing::UnitTest::GetInstance()->current_test_info()->name())) {}

  Ended design(std::vector<std::string> more) const {
    std::vector<std::string> words{"rotor", "--design", "design.toml", "--into", "new"};
    words.insert(words.end(), more.begin(), more.end());
    return windwright(words, folder_);
  }

  fs::path folder_;
};

TEST_F(RotorDesign, SaysWhatEachPracticalBladeCosts) {
  const auto ended = design({});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  std::map<std::string, double> cost_pct;
  for (std::size_t row = 0; row < table.rows(); ++row)
    cost_pct[table.text(row, 0)] = table.number(row, table.required_column("cp_cost_pct"));
  ASSERT_EQ(cost_pct.size(), 8U);
  EXPECT_EQ(cost_pct.at("optimum"), 0.0);
  EXPECT_LT(cost_pct.at("chord_limit"), cost_pct.at("chord_limit+linear_twist"));
  EXPECT_GT(cost_pct.at("flat_plate"), cost_pct.at("cambered_plate"));
  EXPECT_GT(cost_pct.at("cambered_plate"), 0.0);
  EXPECT_NE(ended.err.find("safe up to"), std::string::npos);
  EXPECT_NE(ended.err.find("A qualified person decides."), std::string::npos);
}

// The written rotor, read back and analysed on its own, has the power the design promised.
TEST_F(RotorDesign, WritesARotorThatGivesWhatWasPromised) {
  const auto ended = design({"--json"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto document = boost::json::parse(ended.out);
  const auto swept =
      windwright({"rotor", "new/rotor.toml", "--air-speed", "8", "--tsr", "4.5"}, folder_);
  ASSERT_EQ(swept.exit_code, 0) << swept.err;
  const auto table = base::Table::from_text(swept.out, "out");
  const double promised = document.at("cp").to_number<double>();
  // The polar's continuation knows the blade's aspect ratio only now; it hardly enters here.
  EXPECT_NEAR(table.number(0, table.required_column("cp")), promised, 1e-4);
  EXPECT_GT(promised, 0.35);
  EXPECT_EQ(document.at("built").as_string(), "chord_limit");
  EXPECT_EQ(document.at("stations").as_array().size(), 14U);
  for (const auto& station : document.at("stations").as_array())
    EXPECT_LE(station.at("chord_m").to_number<double>(), 0.06);
  for (const auto& name : document.at("files").as_array())
    EXPECT_TRUE(fs::exists(folder_ / "new" / name.as_string().c_str())) << name;
  const auto loads = windwright(
      {"rotor", "new/rotor.toml", "--blade-loads", "--air-speed", "14.5", "--json"}, folder_);
  ASSERT_EQ(loads.exit_code, 0) << loads.err;
  EXPECT_NEAR(
      boost::json::parse(loads.out).at("safe_speed").at("rotor_speed_rad_s").to_number<double>(),
      document.at("safe_speed").at("rotor_speed_rad_s").to_number<double>(), 0.5);
}

// As the file stands, in single precision: every edge of two triangles, run both ways; size and
// place in millimetres.
TEST_F(RotorDesign, TheMeshInTheFileIsWatertightAndInMillimetres) {
  ASSERT_EQ(design({}).exit_code, 0);
  const auto triangles = triangles_of(text_of(folder_ / "new/blade.stl"));
  std::map<std::pair<Point, Point>, int> edges;
  float inner = 1e9F;
  float outer = -1e9F;
  double volume = 0.0;
  for (const Triangle& triangle : triangles) {
    for (std::size_t i = 0; i < 3; ++i) {
      ASSERT_NE(triangle[i], triangle[(i + 1) % 3]) << "a triangle without area";
      ++edges[{triangle[i], triangle[(i + 1) % 3]}];
      inner = std::min(inner, triangle[i][2]);
      outer = std::max(outer, triangle[i][2]);
    }
    const auto& [a, b, c] = triangle;
    volume += (a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0]) +
               a[2] * (b[0] * c[1] - b[1] * c[0])) /
              6.0;
  }
  std::size_t bad = 0;
  for (const auto& [edge, count] : edges) {
    const auto back = edges.find({edge.second, edge.first});
    if (count != 1 || back == edges.end() || back->second != 1) ++bad;
  }
  EXPECT_EQ(bad, 0U) << "of " << edges.size();
  EXPECT_FLOAT_EQ(inner, 7.0F);  // hub radius less stub and blend
  EXPECT_FLOAT_EQ(outer, 300.0F);
  EXPECT_GT(volume, 1e4);  // mm3
}

// Points of a station's file lie on its circle of the mesh.
TEST_F(RotorDesign, TheSectionPointsAreThoseOfTheMesh) {
  ASSERT_EQ(design({}).exit_code, 0);
  const auto triangles = triangles_of(text_of(folder_ / "new/blade.stl"));
  std::set<std::tuple<long, long, long>> points;
  const auto rounded = [](double value) { return std::lround(value * 1e3); };
  for (const Triangle& triangle : triangles) {
    for (const Point& point : triangle)
      points.insert({rounded(point[0]), rounded(point[1]), rounded(point[2])});
  }
  for (const char* name : {"station-01.csv", "station-07.csv", "station-14.csv"}) {
    const auto table = base::Table::from_file(folder_ / "new/sections" / name);
    ASSERT_EQ(table.rows(), 122U);  // closed: the first point again
    std::size_t found = 0;
    for (std::size_t row = 0; row < table.rows(); ++row) {
      for (long shift = -1; shift <= 1; ++shift) {
        if (points.contains({rounded(1e3 * table.number(row, 0)) + shift,
                             rounded(1e3 * table.number(row, 1)),
                             rounded(1e3 * table.number(row, 2))})) {
          ++found;
          break;
        }
      }
    }
    EXPECT_GT(found, 115U) << name;  // a few round to the next micrometre
  }
}

TEST_F(RotorDesign, OverwritesNothingUnasked) {
  ASSERT_EQ(design({}).exit_code, 0);
  const std::string before = text_of(folder_ / "new/rotor.toml");
  write_text(folder_ / "new/rotor.toml", "mine");
  const auto again = design({});
  EXPECT_EQ(again.exit_code, 2);
  EXPECT_EQ(again.out, "");
  EXPECT_NE(again.err.find("--into: new/rotor.toml is already there: another folder, or --replace"),
            std::string::npos)
      << again.err;
  EXPECT_EQ(text_of(folder_ / "new/rotor.toml"), "mine");
  EXPECT_EQ(design({"--replace"}).exit_code, 0);
  EXPECT_EQ(text_of(folder_ / "new/rotor.toml"), before);
}

TEST_F(RotorDesign, ComparesAPlateOfOnesOwn) {
  const auto ended = design({"--plate-polar", "polars/cambered-plate.csv"});
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  EXPECT_NE(ended.out.find("\nplate,"), std::string::npos);
  EXPECT_NE(ended.out.find("\nchord_limit+linear_twist+plate,"), std::string::npos);
}

TEST_F(RotorDesign, AsksForTheFolderAndForTheRotor) {
  const auto without = windwright({"rotor", "--design", "design.toml"}, folder_);
  EXPECT_EQ(without.exit_code, 2);
  EXPECT_NE(without.err.find("--into: is missing"), std::string::npos) << without.err;
  const auto nothing = windwright({"rotor", "--air-speed", "8", "--tsr", "4"}, folder_);
  EXPECT_EQ(nothing.exit_code, 2);
  EXPECT_NE(nothing.err.find("FILE: is missing"), std::string::npos) << nothing.err;
}

TEST_F(RotorDesign, ShowsRootLoadsUpToTheSafeSpeed) {
  const auto ended = windwright({"rotor", "rotor.toml", "--blade-loads", "--air-speed", "14.42",
                                 "--blades", "2", "--pitch", "0"},
                                folder_);
  ASSERT_EQ(ended.exit_code, 0) << ended.err;
  const auto table = base::Table::from_text(ended.out, "out");
  ASSERT_EQ(table.rows(), 11U);
  const std::size_t share = table.required_column("share_of_allowable_pct");
  EXPECT_LE(table.number(10, share), 100.0);
  EXPECT_GT(table.number(10, share), 90.0);
  EXPECT_EQ(table.number(0, table.required_column("centrifugal_force_N")), 0.0);
  const auto missing = windwright({"rotor", "rotor.toml", "--blade-loads"}, folder_);
  EXPECT_EQ(missing.exit_code, 2);
  EXPECT_NE(missing.err.find("--air-speed: is missing"), std::string::npos);
}

}  // namespace
}  // namespace windwright::end_to_end
