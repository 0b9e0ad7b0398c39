// SPDX-License-Identifier: Apache-2.0
#include "report/drawing.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace windwright::report {
namespace {

TEST(Axis, HasRoundTicksThatHoldTheData) {
  const Axis axis(0.013, 0.297, 6, 400.0, 20.0);
  EXPECT_DOUBLE_EQ(axis.low(), 0.0);
  EXPECT_DOUBLE_EQ(axis.high(), 0.3);
  ASSERT_EQ(axis.ticks().size(), 7U);
  EXPECT_EQ(axis.tick_text(axis.ticks()[1]), "0.05");
  EXPECT_DOUBLE_EQ(axis.at(0.0), 400.0);
  EXPECT_NEAR(axis.at(0.3), 20.0, 1e-9);
}

TEST(Axis, OfDecadesIsEvenInTheLogarithm) {
  const Axis axis = Axis::decades(1e-5, 1000.0, 400.0, 0.0);
  EXPECT_NEAR(axis.at(0.1), 200.0, 1e-9);
  EXPECT_EQ(axis.at(0.0), 400.0);
  ASSERT_EQ(axis.ticks().size(), 9U);
  EXPECT_EQ(axis.tick_text(axis.ticks()[0]), "10⁻⁵");
  EXPECT_EQ(axis.tick_text(axis.ticks()[6]), "10");
  // Within a decade and a half: also twice and five times.
  EXPECT_EQ(Axis::decades(3.0, 40.0, 0.0, 1.0).ticks(), (std::vector<double>{5.0, 10.0, 20.0}));
}

TEST(Axis, KeepsItsEndsWhenAskedTo) {
  const Axis axis = Axis::exact(1.93, 7.6, 6, 0.0, 100.0);
  EXPECT_DOUBLE_EQ(axis.low(), 1.93);
  EXPECT_DOUBLE_EQ(axis.ticks().front(), 2.0);
  EXPECT_DOUBLE_EQ(axis.ticks().back(), 7.0);
}

TEST(Axis, GivesRoomToASingleValue) {
  const Axis axis(5.0, 5.0, 4, 0.0, 100.0);
  EXPECT_LT(axis.low(), 5.0);
  EXPECT_GT(axis.high(), 5.0);
}

TEST(Clipping, CutsALineWhereItLeavesAndComesBack) {
  const std::vector<Position> line{{-1.0, 0.5}, {0.5, 0.5}, {0.5, 2.5}, {0.75, 0.5}};
  const auto parts = inside(line, {0.0, 0.0}, {1.0, 1.0});
  ASSERT_EQ(parts.size(), 2U);
  EXPECT_DOUBLE_EQ(parts[0].front().x, 0.0);
  EXPECT_DOUBLE_EQ(parts[0].back().y, 1.0);
  EXPECT_DOUBLE_EQ(parts[1].front().y, 1.0);
  EXPECT_DOUBLE_EQ(parts[1].back().x, 0.75);
}

TEST(Drawing, EscapesItsTexts) {
  Drawing drawing(10.0, 10.0, "a < b");
  drawing.text({0.0, 0.0}, "<script>");
  EXPECT_EQ(drawing.svg().find("<script>"), std::string::npos);
  EXPECT_NE(drawing.svg().find("aria-label=\"a &lt; b\""), std::string::npos);
}

TEST(Drawing, WritesCoordinatesToAHundredthOfAPixel) {
  EXPECT_EQ(coordinate(12.3456), "12.35");
  EXPECT_EQ(coordinate(12.0), "12");
  EXPECT_EQ(coordinate(-0.001), "0");
}

}  // namespace
}  // namespace windwright::report
