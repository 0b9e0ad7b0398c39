// SPDX-License-Identifier: Apache-2.0
#include "report/plot.h"

#include "report/drawing.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

namespace windwright::report {
namespace {

// 0 to 10 over 100 pixels both ways, the y axis upwards.
struct Frame {
  Drawing drawing{120.0, 120.0, "test"};
  Axis x = Axis::exact(0.0, 10.0, 5, 0.0, 100.0);
  Axis y = Axis::exact(0.0, 10.0, 5, 100.0, 0.0);
  Plot plot{drawing, x, y};
};

TEST(Plot, AnErrorBarReachesAsFarAsItsHalfWidth) {
  Frame frame;
  frame.plot.error_bar({4.0, 5.0}, 2.0, {.colour = "#000000"});
  EXPECT_NE(frame.drawing.svg().find("points=\"40,70 40,30\""), std::string::npos)
      << frame.drawing.svg();
}

TEST(Plot, AnErrorBarIsCutOffAtTheAxes) {
  Frame frame;
  frame.plot.error_bar({4.0, 9.0}, 3.0, {.colour = "#000000"});
  EXPECT_NE(frame.drawing.svg().find("points=\"40,40 40,0\""), std::string::npos)
      << frame.drawing.svg();
}

TEST(Plot, AnUnknownUncertaintyDrawsNoBar) {
  Frame frame;
  const std::string before = frame.drawing.svg();
  frame.plot.error_bar({4.0, 5.0}, std::nan(""), {.colour = "#000000"});
  frame.plot.error_bar({4.0, 5.0}, 0.0, {.colour = "#000000"});
  EXPECT_EQ(frame.drawing.svg(), before);
}

TEST(Plot, AColumnThatIsCutOffCarriesItsValue) {
  Frame frame;
  frame.plot.column({2.0, 8.0}, 4.0, "#000000");
  EXPECT_EQ(frame.drawing.svg().find("<text"), std::string::npos);
  EXPECT_NE(frame.drawing.svg().find("y=\"20\" width=\"4\" height=\"80\""), std::string::npos);
  frame.plot.column({2.0, 37.0}, 4.0, "#000000");
  EXPECT_NE(frame.drawing.svg().find(">37<"), std::string::npos);
}

TEST(Plot, NoMarkerStandsOutsideOfTheAxes) {
  Frame frame;
  const std::string before = frame.drawing.svg();
  frame.plot.marker(Shape::disc, {4.0, 11.0}, "#000000");
  EXPECT_EQ(frame.drawing.svg(), before);
}

}  // namespace
}  // namespace windwright::report
