// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "metrology/derivatives.h"
#include "metrology/equation.h"
#include "metrology/program.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

// A random expression as text, with blanks and brackets as they come, and its value worked out on
// the way: what the parser must find again.
struct Spoken {
  std::string text;
  double value;
  int strength;  // of its outermost operator: 1 sum, 2 product, 3 sign, 4 power, 5 value
};

const std::vector<double> inputs{1.7, 0.6, 2.3};

std::string bracketed(const Spoken& part, int least) {
  const bool needed = part.strength < least;
  const bool wanted = needed || *rc::gen::inRange(0, 4) == 0;
  return wanted ? "( " + part.text + ")" : part.text;
}

Spoken spoken(int depth) {
  const int kind = depth == 0 ? *rc::gen::inRange(0, 2) : *rc::gen::inRange(0, 9);
  if (kind == 0) {
    const auto which = *rc::gen::inRange<std::size_t>(0, 3);
    return {std::string(1, static_cast<char>('a' + which)), inputs[which], 5};
  }
  if (kind == 1) {
    const double number = 0.25 * *rc::gen::inRange(1, 20);
    return {fmt::format("{}", number), number, 5};
  }
  const Spoken left = spoken(depth - 1);
  if (kind == 2) return {"-" + bracketed(left, 3), -left.value, 3};
  if (kind == 3) return {"cos( " + left.text + " )", std::cos(left.value), 5};
  const Spoken right = spoken(depth - 1);
  const auto joined = [&](const char* sign, int least_left, int least_right) {
    return bracketed(left, least_left) + sign + bracketed(right, least_right);
  };
  if (kind == 4) return {joined(" + ", 1, 2), left.value + right.value, 1};
  if (kind == 5) return {joined("-", 1, 2), left.value - right.value, 1};
  if (kind == 6) return {joined(" *", 2, 3), left.value * right.value, 2};
  if (kind == 7) return {joined("/", 2, 3), left.value / right.value, 2};
  return {joined("^", 5, 3), std::pow(left.value, right.value), 4};
}

Program program_of(const std::string& text) {
  const std::vector<Equation> equations{{.name = "y", .text = text, .where = "budget.toml:3"}};
  return compiled(equations, 1, {.inputs = {"a", "b", "c"}});
}

RC_GTEST_PROP(Equation, MeansWhatItsBracketsAndPrecedenceSay, ()) {
  const Spoken sentence = spoken(5);
  const Program program = program_of(sentence.text);
  const double got = values_of(program, inputs).at(program.outputs.at(0));
  RC_TAG(std::isfinite(sentence.value));
  if (std::isfinite(sentence.value) && std::abs(sentence.value) < 1e100) {
    RC_ASSERT(std::abs(got - sentence.value) <= 1e-9 * (1.0 + std::abs(sentence.value)) ||
              !std::isfinite(got));
  }
}

RC_GTEST_PROP(Equation, AnswersAnyTextOrRefusesItInOneLine, ()) {
  static const std::vector<std::string> pieces{
      "a",      "b",    "sqrt", "(", ")",   "+",     "-",  "*",  "/",  "^",
      ",",      "1.5",  "1e9",  ".", " ",   "max",   "pi", "**", "=",  "\u00b2",
      "\u03c0", "\xff", "#",    "y", "log", "atan2", "0",  "\n", "x_1"};
  std::string text;
  for (const auto piece : *rc::gen::container<std::vector<std::size_t>>(
           rc::gen::inRange<std::size_t>(0, pieces.size())))
    text += pieces[piece];
  try {
    const Program program = program_of(text);
    derivatives(program, inputs, std::vector<double>{1, 0, 0, 0, 1, 0, 0, 0, 1});
  } catch (const base::BadInput& error) {
    const std::string message = error.what();
    RC_ASSERT(message.rfind("budget.toml:3: column ", 0) == 0U);
    RC_ASSERT(message.find('\n') == std::string::npos);
  }
}

}  // namespace
}  // namespace windwright::metrology
