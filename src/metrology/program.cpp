// SPDX-License-Identifier: Apache-2.0
#include "metrology/program.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double largest_whole_power = 64.0;

double whole_power_of(double base, double exponent) {
  double product = 1.0;
  double square = base;
  for (auto left = static_cast<int>(std::abs(exponent)); left > 0; left /= 2) {
    if (left % 2 == 1) product *= square;
    square *= square;
  }
  return exponent < 0.0 ? 1.0 / product : product;
}

double unary_result(Operation operation, double a) {
  switch (operation) {
    case Operation::negative:
      return -a;
    case Operation::square_root:
      return std::sqrt(a);
    case Operation::exponential:
      return std::exp(a);
    case Operation::logarithm:
      return std::log(a);
    case Operation::sine:
      return std::sin(a);
    case Operation::cosine:
      return std::cos(a);
    case Operation::tangent:
      return std::tan(a);
    case Operation::arcsine:
      return std::asin(a);
    case Operation::arccosine:
      return std::acos(a);
    case Operation::arctangent:
      return std::atan(a);
    case Operation::hyperbolic_sine:
      return std::sinh(a);
    case Operation::hyperbolic_cosine:
      return std::cosh(a);
    case Operation::hyperbolic_tangent:
      return std::tanh(a);
    default:
      return std::abs(a);
  }
}

// The steps that these are computed from, and these.
std::vector<bool> steps_behind(std::span<const Step> steps, std::span<const std::uint32_t> ends) {
  std::vector<bool> needed(steps.size(), false);
  for (const std::uint32_t end : ends)
    needed[end] = true;
  for (std::size_t i = steps.size(); i-- > 0;) {
    if (!needed[i]) continue;
    if (is_unary(steps[i].operation) || is_binary(steps[i].operation)) needed[steps[i].a] = true;
    if (is_binary(steps[i].operation)) needed[steps[i].b] = true;
  }
  return needed;
}

}  // namespace

bool is_unary(Operation operation) {
  return operation >= Operation::negative && operation <= Operation::whole_power;
}

bool is_binary(Operation operation) {
  return operation >= Operation::add;
}

double result_of(Operation operation, double a, double b, double number) {
  switch (operation) {
    case Operation::constant:
      return number;
    case Operation::input:
      return a;
    case Operation::whole_power:
      return whole_power_of(a, number);
    case Operation::add:
      return a + b;
    case Operation::subtract:
      return a - b;
    case Operation::multiply:
      return a * b;
    case Operation::divide:
      return a / b;
    case Operation::power:
      return std::pow(a, b);
    case Operation::arctangent_of_two:
      return std::atan2(a, b);
    case Operation::least:
      return std::isnan(a) || std::isnan(b) ? a + b : std::min(a, b);
    case Operation::largest:
      return std::isnan(a) || std::isnan(b) ? a + b : std::max(a, b);
    default:
      return unary_result(operation, a);
  }
}

std::vector<double> values_of(const Program& program, std::span<const double> inputs) {
  std::vector<double> values(program.steps.size());
  for (std::size_t i = 0; i < values.size(); ++i) {
    const Step& step = program.steps[i];
    const double a = step.operation == Operation::input                      ? inputs[step.a]
                     : is_unary(step.operation) || is_binary(step.operation) ? values[step.a]
                                                                             : 0.0;
    const double b = is_binary(step.operation) ? values[step.b] : 0.0;
    values[i] = result_of(step.operation, a, b, step.number);
  }
  return values;
}

ProgramMaker::ProgramMaker(std::size_t inputs) {
  program_.inputs = inputs;
  for (std::size_t i = 0; i < inputs; ++i)
    put({.operation = Operation::input, .a = static_cast<std::uint32_t>(i)});
}

std::uint32_t ProgramMaker::put(const Step& step) {
  const auto next = static_cast<std::uint32_t>(program_.steps.size());
  const auto [place, is_new] = known_.try_emplace(
      {step.operation, step.a, step.b, std::bit_cast<std::uint64_t>(step.number)}, next);
  if (is_new) program_.steps.push_back(step);
  return place->second;
}

std::uint32_t ProgramMaker::constant(double number) {
  return put({.operation = Operation::constant, .number = number});
}

std::uint32_t ProgramMaker::input(std::size_t index) const {
  return static_cast<std::uint32_t>(index);
}

std::uint32_t ProgramMaker::unary(Operation operation, std::uint32_t a) {
  const Step& of = program_.steps[a];
  if (of.operation == Operation::constant) return constant(unary_result(operation, of.number));
  if (operation == Operation::negative && of.operation == Operation::negative) return of.a;
  return put({.operation = operation, .a = a});
}

std::uint32_t ProgramMaker::constant_power(std::uint32_t a, double exponent) {
  if (exponent == 1.0) return a;
  if (exponent == 0.5) return unary(Operation::square_root, a);
  if (exponent == std::trunc(exponent) && std::abs(exponent) <= largest_whole_power)
    return put({.operation = Operation::whole_power, .a = a, .number = exponent});
  return put({.operation = Operation::power, .a = a, .b = constant(exponent)});
}

std::uint32_t ProgramMaker::binary(Operation operation, std::uint32_t a, std::uint32_t b) {
  const Step of_a = program_.steps[a];
  const Step of_b = program_.steps[b];
  const bool b_constant = of_b.operation == Operation::constant;
  if (of_a.operation == Operation::constant && b_constant)
    return constant(result_of(operation, of_a.number, of_b.number, 0.0));
  if (operation == Operation::power && b_constant) return constant_power(a, of_b.number);
  // One order for what commutes, so that a * b and b * a are one step.
  if ((operation == Operation::add || operation == Operation::multiply) && b < a) std::swap(a, b);
  return put({.operation = operation, .a = a, .b = b});
}

Program ProgramMaker::finished(std::span<const std::uint32_t> outputs) const {
  const std::vector<Step>& all = program_.steps;
  const std::vector<bool> needed = steps_behind(all, outputs);
  Program program{.steps = {}, .inputs = program_.inputs, .outputs = {}};
  std::vector<std::uint32_t> place(all.size(), 0);
  for (std::size_t i = 0; i < all.size(); ++i) {
    if (!needed[i] && i >= program.inputs) continue;
    place[i] = static_cast<std::uint32_t>(program.steps.size());
    Step step = all[i];
    if (is_unary(step.operation) || is_binary(step.operation)) step.a = place[step.a];
    if (is_binary(step.operation)) step.b = place[step.b];
    program.steps.push_back(step);
  }
  for (const std::uint32_t output : outputs)
    program.outputs.push_back(place[output]);
  return program;
}

std::vector<bool> inputs_behind(const Program& program, std::uint32_t step) {
  std::vector<bool> behind = steps_behind(program.steps, {&step, 1});
  behind.resize(program.inputs);
  return behind;
}

}  // namespace windwright::metrology
