// SPDX-License-Identifier: Apache-2.0
#include "metrology/derivatives.h"

#include "metrology/equation.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

Program program_of(const std::string& text) {
  const std::vector<Equation> equations{{.name = "f", .text = text, .where = "test"}};
  return compiled(equations, 1, {.inputs = {"x", "y"}});
}

const std::vector<double> identity{1.0, 0.0, 0.0, 1.0};

// Every function, inside a product so that mixed terms arise too, against central differences of
// its own next lower derivative: an error of the rules would show as a difference of order 1.
TEST(Derivatives, OfEveryFunctionAgreeWithDifferences) {
  const std::vector<std::string> equations{
      "y * sqrt(x)",     "y * exp(x)",        "y * log(x)",       "y^2 * log10(x + y)",
      "y * sin(x * y)",  "y * cos(x * y)",    "y * tan(x / y)",   "y * asin(x / 4)",
      "y * acos(x / 4)", "y^3 * atan(x * y)", "y * sinh(x)",      "y * cosh(x)",
      "x * tanh(y - x)", "abs(x * y)",        "x^3 * y^-2",       "x^y",
      "2^(x * y)",       "(x - y)^5",         "x / y^2",          "1 / (x + y)",
      "atan2(y, x)",     "atan2(x, y)",       "atan2(x, -y) * x", "min(x, y)^3 * x",
      "max(x, y)^3 * y", "x^1.7 * y",         "-(x * y)^2",       "(x*y - 2) / (x + y^2)"};
  const std::vector<double> at{0.8, 1.3};
  constexpr double h = 1e-5;
  for (const std::string& text : equations) {
    SCOPED_TRACE(text);
    const Program program = program_of(text);
    const Derivatives d = derivatives(program, at, identity).at(0);
    for (std::size_t j = 0; j < 2; ++j) {
      std::vector<double> up = at;
      std::vector<double> down = at;
      up[j] += h;
      down[j] -= h;
      const Derivatives above = derivatives(program, up, identity).at(0);
      const Derivatives below = derivatives(program, down, identity).at(0);
      const auto near = [](double got, double difference) {
        EXPECT_NEAR(got, difference, 3e-8 * (1.0 + std::abs(difference)));
      };
      near(d.first[j], (above.value - below.value) / (2.0 * h));
      for (std::size_t i = 0; i < 2; ++i) {
        near(d.second[i * 2 + j], (above.first[i] - below.first[i]) / (2.0 * h));
        near(d.third[i * 2 + j], (above.second[i * 2 + j] - below.second[i * 2 + j]) / (2.0 * h));
      }
    }
  }
}

TEST(Derivatives, AreExactWhereDifferencesCannotBe) {
  // d/dx of x^2 y^3 and its like, to the last bit, at a scale of 1e-150.
  const Program program = program_of("x^2 * y^3");
  const double x = 3e-150;
  const Derivatives d = derivatives(program, std::vector<double>{x, 2.0}, identity).at(0);
  EXPECT_DOUBLE_EQ(d.first[0], 16.0 * x);
  EXPECT_DOUBLE_EQ(d.second[0], 16.0);
  EXPECT_DOUBLE_EQ(d.second[1], 24.0 * x);
  EXPECT_DOUBLE_EQ(d.third[1], 24.0 * x);  // x y y
  EXPECT_DOUBLE_EQ(d.third[2], 24.0);      // y x x
}

TEST(Derivatives, AlongDirectionsAreThoseOfTheTurnedFunction) {
  // x = u + v, y = u - v: x y = u^2 - v^2.
  const std::vector<double> turned{1.0, 1.0, 1.0, -1.0};
  const Derivatives d =
      derivatives(program_of("x * y"), std::vector<double>{5.0, 1.0}, turned).at(0);  // u 3, v 2
  EXPECT_EQ(d.first, (std::vector<double>{6.0, -4.0}));
  EXPECT_EQ(d.second, (std::vector<double>{2.0, 0.0, 0.0, -2.0}));
}

TEST(Derivatives, AtThePolesOfPowersAreThoseOfTheProduct) {
  const Derivatives d =
      derivatives(program_of("x^2 + 0 * y"), std::vector<double>{0.0, 1.0}, identity).at(0);
  EXPECT_EQ(d.first[0], 0.0);
  EXPECT_EQ(d.second[0], 2.0);
  EXPECT_EQ(d.third[0], 0.0);
}

TEST(Derivatives, SayWhereThereIsNone) {
  const Derivatives d =
      derivatives(program_of("sqrt(x) + y"), std::vector<double>{0.0, 1.0}, identity).at(0);
  EXPECT_TRUE(std::isinf(d.first[0]));
  EXPECT_TRUE(at_kink(program_of("abs(x) + y"), std::vector<double>{0.0, 1.0}).at(0));
  EXPECT_TRUE(at_kink(program_of("2 * min(x, y)"), std::vector<double>{1.0, 1.0}).at(0));
  EXPECT_FALSE(at_kink(program_of("2 * min(x, y)"), std::vector<double>{1.0, 2.0}).at(0));
}

}  // namespace
}  // namespace windwright::metrology
