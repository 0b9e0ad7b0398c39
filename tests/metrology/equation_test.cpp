// SPDX-License-Identifier: Apache-2.0
#include "metrology/equation.h"

#include "base/errors.h"
#include "metrology/program.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {
namespace {

// Value of an equation with x = 3, y = 2, speed_m_s = 8.
double value_of(const std::string& text) {
  const std::vector<Equation> equations{{.name = "result", .text = text, .where = "b.toml:3"}};
  const Program program = compiled(equations, 1, {.inputs = {"x", "y", "speed_m_s"}});
  return values_of(program, std::vector<double>{3.0, 2.0, 8.0}).at(program.outputs.at(0));
}

TEST(Equation, BindsAsMathematiciansExpect) {
  const std::vector<std::pair<std::string, double>> cases{{"1 + 2 * 3", 7.0},
                                                          {"(1 + 2) * 3", 9.0},
                                                          {"2 - 3 - 4", -5.0},
                                                          {"24 / 4 / 2", 3.0},
                                                          {"24 / 4 * 2", 12.0},
                                                          {"-2^2", -4.0},
                                                          {"(-2)^2", 4.0},
                                                          {"2^-1", 0.5},
                                                          {"2^3^2", 512.0},
                                                          {"-x^2", -9.0},
                                                          {"2 * -x", -6.0},
                                                          {"x - -y", 5.0},
                                                          {"+x", 3.0},
                                                          {"--x", 3.0},
                                                          {"2^-y^2", std::pow(2.0, -4.0)},
                                                          {"x^0.5", std::sqrt(3.0)},
                                                          {"x^-2", 1.0 / 9.0},
                                                          {"x^y", 9.0},
                                                          {"1e3 + .5 + 2.", 1002.5},
                                                          {"1.5e-3 * x", 4.5e-3}};
  for (const auto& [text, expected] : cases)
    EXPECT_DOUBLE_EQ(value_of(text), expected) << text;
}

TEST(Equation, KnowsTheFunctionsOfAScientificCalculator) {
  using std::numbers::pi;
  const std::vector<std::pair<std::string, double>> cases{
      {"sqrt(16)", 4.0},           {"exp(1)", std::numbers::e},
      {"log(exp(x))", 3.0},        {"ln(exp(x))", 3.0},
      {"log10(1000)", 3.0},        {"sin(pi / 6)", 0.5},
      {"cos(pi / 3)", 0.5},        {"tan(pi / 4)", 1.0},
      {"asin(1)", pi / 2.0},       {"acos(0.5)", pi / 3.0},
      {"atan(1)", pi / 4.0},       {"atan2(-1, -1)", -0.75 * pi},
      {"sinh(1)", std::sinh(1.0)}, {"cosh(1)", std::cosh(1.0)},
      {"tanh(1)", std::tanh(1.0)}, {"abs(-x)", 3.0},
      {"min(x, y, 7)", 2.0},       {"max(x, y, 1)", 3.0},
      {"speed_m_s^3", 512.0}};
  for (const auto& [text, expected] : cases)
    EXPECT_NEAR(value_of(text), expected, 1e-14 * std::abs(expected)) << text;
}

TEST(Equation, ReadsSignsAsTheyArePrinted) {
  EXPECT_EQ(value_of("2 \u00d7 x \u00b7 y \u2212 1"), 11.0);
  EXPECT_EQ(value_of("x\u00b2 + y\u00b3"), 17.0);
  EXPECT_DOUBLE_EQ(value_of("\u03c0 \u00f7 2"), std::numbers::pi / 2.0);
}

std::string refusal_of(const std::vector<Equation>& equations, std::size_t outputs = 1) {
  try {
    compiled(equations, outputs, {.inputs = {"x", "rho"}, .constants = {{"g", 9.81}}});
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "taken";
}

TEST(Equation, PointsAtTheColumnAndSaysWhatWouldBeRight) {
  const std::vector<std::pair<std::string, std::string>> cases{
      {"2 x", "column 3 of the equation of y: no operator before 'x': * x"},
      {"2 (x)", "column 3 of the equation of y: no operator before '(': * (...)"},
      {"(2 x)", "column 4 of the equation of y: no operator before 'x': * x"},
      {"x +",
       "column 4 of the equation of y: a value is missing before the end: a number, a name "
       "or '('"},
      {"",
       "column 1 of the equation of y: a value is missing before the end: a number, a name or "
       "'('"},
      {"(x",
       "column 3 of the equation of y: the bracket opened at column 1 is not closed before "
       "the end: ')'"},
      {"x)", "column 2 of the equation of y: ')' closes no bracket: as many '(' as ')'"},
      {"x**2", "column 2 of the equation: '**' is no operator: ^ for a power"},
      {"rhoo * x", "column 1 of the equation of y: 'rhoo' is no input, constant or equation: rho"},
      {"sqr(x)", "column 1 of the equation of y: 'sqr' is not a function: sqrt"},
      {"pow(x, 2)", "column 1 of the equation of y: 'pow' is not a function: x^y"},
      {"sqrt x", "column 1 of the equation of y: the function 'sqrt' has no argument: sqrt(...)"},
      {"sqrt(x, 2)", "column 1 of the equation of y: 'sqrt' has 2 arguments: 1"},
      {"min(x)", "column 1 of the equation of y: 'min' has 1 arguments: 2 or more"},
      {"x = 2",
       "column 3 of the equation: '=' stands inside an equation: what stands right of it "
       "alone"},
      {"x; 2",
       "column 2 of the equation: ';' means nothing here: numbers, names, + - * / ^ and "
       "round brackets"},
      {"1.2.3", "column 1 of the equation: '1.2.3' is not a number: digits, one point"},
      {"1,5 * x",
       "column 2 of the equation of y: ',' stands outside a function: a point in decimal "
       "numbers; commas between a function's arguments"},
      {"y + 1",
       "column 1 of the equation of y: 'y' is said in terms of itself: equations that "
       "lead back to inputs"}};
  for (const auto& [text, expected] : cases)
    EXPECT_EQ(refusal_of({{.name = "y", .text = text, .where = "b.toml:3"}}),
              "b.toml:3: " + expected);
}

TEST(Equation, RefusesCirclesWhereverTheyClose) {
  const std::vector<Equation> circle{{.name = "a", .text = "b + 1", .where = "b.toml:3"},
                                     {.name = "b", .text = "2 * c", .where = "b.toml:5"},
                                     {.name = "c", .text = "x + a", .where = "b.toml:6"}};
  EXPECT_EQ(refusal_of(circle),
            "b.toml:6: column 5 of the equation of c: 'a' itself depends on c: equations that lead "
            "back to inputs");
}

TEST(Equation, SurvivesDepthAndLength) {
  const auto nested = [](std::size_t depth) {
    return std::string(depth, '(') + "x" + std::string(depth, ')');
  };
  EXPECT_EQ(value_of(nested(150)), 3.0);
  EXPECT_NE(refusal_of({{.name = "y", .text = nested(100'000), .where = "b.toml:3"}})
                .find("nested too deeply"),
            std::string::npos);
  std::string sum = "x";
  for (int i = 0; i < 20'000; ++i)
    sum += " + x";
  EXPECT_EQ(value_of(sum), 60'003.0);
  std::string minus(100'000, '-');
  EXPECT_NE(refusal_of({{.name = "y", .text = minus + "x", .where = "b.toml:3"}})
                .find("nested too deeply"),
            std::string::npos);
}

TEST(Equation, ComputesNothingTwiceAndConstantsOnce) {
  const std::vector<Equation> equations{
      {.name = "p", .text = "q^2 + x * y * 2 * pi / 4", .where = "b:1"},
      {.name = "q", .text = "sqrt(x * y) + y * x", .where = "b:2"}};
  const Program program = compiled(equations, 1, {.inputs = {"x", "y"}});
  std::size_t products = 0;
  for (const Step& step : program.steps)
    products += step.operation == Operation::multiply ? 1U : 0U;
  EXPECT_EQ(products, 3U);  // x y once, by 2 and by pi
}

}  // namespace
}  // namespace windwright::metrology
