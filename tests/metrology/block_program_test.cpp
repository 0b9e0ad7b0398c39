// SPDX-License-Identifier: Apache-2.0
#include "metrology/block_program.h"

#include "base/random.h"
#include "metrology/equation.h"
#include "metrology/program.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

struct Stretch {
  std::string equation;
  double low;
  double high;
  double tolerance;  // relative
};

std::vector<double> in_lanes(const std::string& text, const std::vector<double>& x,
                             const std::vector<double>& y) {
  const std::vector<Equation> equations{{.name = "f", .text = text, .where = "test"}};
  const BlockProgram program = block_program(compiled(equations, 1, {.inputs = {"x", "y"}}));
  std::vector<double> rows(program.rows * block_trials);
  lay_constants(program, rows.data());
  std::copy(x.begin(), x.end(), rows.begin());
  std::copy(y.begin(), y.end(), rows.begin() + block_trials);
  run_block(program, rows.data());
  const double* result = rows.data() + program.outputs.at(0) * block_trials;
  return {result, result + block_trials};
}

double scalar(const std::string& text, double x, double y) {
  const std::vector<Equation> equations{{.name = "f", .text = text, .where = "test"}};
  const Program program = compiled(equations, 1, {.inputs = {"x", "y"}});
  return values_of(program, std::vector<double>{x, y}).at(program.outputs.at(0));
}

// Against the C library, which is good to a unit in the last place.
TEST(BlockProgram, FunctionsOfLanesAgreeWithTheStandardLibrary) {
  constexpr double ulp = 2.3e-16;
  const std::vector<Stretch> stretches{{"exp(x)", -700.0, 700.0, 3 * ulp},
                                       {"exp(x)", -1e-3, 1e-3, 2 * ulp},
                                       {"log(x)", 1e-300, 1e-290, 2 * ulp},
                                       {"log(x)", 0.5, 2.0, 4 * ulp},
                                       {"log(x)", 1.0, 1e9, 3 * ulp},
                                       {"sin(x)", -3.0, 3.0, 4 * ulp},
                                       {"cos(x)", -3.0, 3.0, 4 * ulp},
                                       {"sin(x)", -9e4, 9e4, 4 * ulp},
                                       {"cos(x)", -1e12, 1e12, 4 * ulp},
                                       {"tan(x)", -1.5, 1.5, 6 * ulp},
                                       {"asin(x)", -1.0, 1.0, 6 * ulp},
                                       {"acos(x)", -1.0, 1.0, 6 * ulp},
                                       {"atan(x)", -5.0, 5.0, 4 * ulp},
                                       {"atan(x)", -1e9, 1e9, 4 * ulp},
                                       {"atan2(x, y)", -2.0, 2.0, 4 * ulp},
                                       {"sinh(x)", -50.0, 50.0, 8 * ulp},
                                       {"sinh(x)", -1e-3, 1e-3, 4 * ulp},
                                       {"cosh(x)", -50.0, 50.0, 8 * ulp},
                                       {"tanh(x)", -3.0, 3.0, 6 * ulp},
                                       {"sqrt(x)", 0.0, 1e9, 0.0},
                                       {"abs(x) ^ y", -9.0, 9.0, 40 * ulp},
                                       {"x^7 * y^-3", -9.0, 9.0, 4 * ulp},
                                       {"min(x, y) - max(x, 2 * y)", -9.0, 9.0, 0.0},
                                       {"(x - y) / (x + 20) + abs(y)", -9.0, 9.0, 0.0}};
  const base::RandomStream random(5, "lanes");
  for (const Stretch& stretch : stretches) {
    SCOPED_TRACE(stretch.equation);
    std::vector<double> x;
    std::vector<double> y;
    for (std::size_t i = 0; i < block_trials; ++i) {
      const double span = stretch.high - stretch.low;
      x.push_back(stretch.low + span * random.uniform(2 * i));
      y.push_back(stretch.low + span * random.uniform(2 * i + 1));
    }
    const std::vector<double> got = in_lanes(stretch.equation, x, y);
    for (std::size_t i = 0; i < block_trials; ++i) {
      const double expected = scalar(stretch.equation, x[i], y[i]);
      EXPECT_NEAR(got[i], expected, stretch.tolerance * std::abs(expected)) << x[i] << ", " << y[i];
    }
  }
}

TEST(BlockProgram, HasTheStandardLibrarysEdges) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const std::vector<double> edges{0.0,   -0.0,  1.0,    -1.0,     2.0,       -2.0, 5e-324, 1e-310,
                                  1e308, 710.0, -746.0, infinity, -infinity, nan,  1.5,    -0.5};
  std::vector<double> x(block_trials, 1.0);
  std::vector<double> y(block_trials, 1.0);
  for (std::size_t i = 0; i < block_trials; ++i) {
    x[i] = edges[i % edges.size()];
    y[i] = edges[i / edges.size()];
  }
  for (const char* text : {"exp(x)", "log(x)", "sin(x)", "cos(x)", "tan(x)", "asin(x)", "acos(x)",
                           "sqrt(x)", "sinh(x)", "cosh(x)", "tanh(x)", "abs(x)", "min(x, y)",
                           "max(x, y)", "x / y", "x^3", "x^-2", "atan(x)"}) {
    const std::vector<double> got = in_lanes(text, x, y);
    for (std::size_t i = 0; i < block_trials; ++i) {
      const double expected = scalar(text, x[i], y[i]);
      if (std::isnan(expected)) {
        EXPECT_TRUE(std::isnan(got[i])) << text << " of " << x[i] << ", " << y[i];
      } else if (std::isinf(expected) || expected == 0.0) {
        EXPECT_EQ(got[i], expected) << text << " of " << x[i] << ", " << y[i];
      } else {
        EXPECT_NEAR(got[i] / expected, 1.0, 1e-13) << text << " of " << x[i] << ", " << y[i];
      }
    }
  }
}

TEST(BlockProgram, PowersFollowTheSignAndParity) {
  std::vector<double> x(block_trials, -2.0);
  std::vector<double> y(block_trials, 3.0);
  y[1] = 2.0;
  y[2] = 0.5;
  x[3] = 0.0;
  y[4] = 0.0;
  const std::vector<double> got = in_lanes("x ^ y", x, y);
  EXPECT_NEAR(got[0], -8.0, 1e-14);
  EXPECT_NEAR(got[1], 4.0, 1e-14);
  EXPECT_TRUE(std::isnan(got[2]));
  EXPECT_EQ(got[3], 0.0);
  EXPECT_EQ(got[4], 1.0);
}

}  // namespace
}  // namespace windwright::metrology
