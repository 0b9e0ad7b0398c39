// SPDX-License-Identifier: Apache-2.0
#include "metrology/block_program.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "metrology/block_program.cpp"
// What is compiled for each instruction set comes after foreach_target.h.
// clang-format off
#include <hwy/base.h>
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>
#include "metrology/lane_functions.h"
// clang-format on

HWY_BEFORE_NAMESPACE();
namespace windwright::metrology::HWY_NAMESPACE {

using Instruction = BlockProgram::Instruction;

template <class Function>
HWY_INLINE void each(const Instruction& step, double* rows, Function function) {
  const double* a = rows + step.a * block_trials;
  double* to = rows + step.to * block_trials;
  for (std::size_t i = 0; i < block_trials; i += hn::Lanes(Lanes()))
    hn::StoreU(function(hn::LoadU(Lanes(), a + i)), Lanes(), to + i);
}

template <class Function>
HWY_INLINE void each_two(const Instruction& step, double* rows, Function function) {
  const double* a = rows + step.a * block_trials;
  const double* b = rows + step.b * block_trials;
  double* to = rows + step.to * block_trials;
  for (std::size_t i = 0; i < block_trials; i += hn::Lanes(Lanes()))
    hn::StoreU(function(hn::LoadU(Lanes(), a + i), hn::LoadU(Lanes(), b + i)), Lanes(), to + i);
}

// Angles too far for three parts of pi are left to the standard library, one by one.
template <class Lane, class One>
HWY_INLINE void each_angle(const Instruction& step, double* rows, Lane lane, One one) {
  const double* a = rows + step.a * block_trials;
  double* to = rows + step.to * block_trials;
  bool near = true;
  for (std::size_t i = 0; i < block_trials; ++i)
    near = near && std::abs(a[i]) <= farthest_angle;
  if (near) return each(step, rows, lane);
  for (std::size_t i = 0; i < block_trials; ++i)
    to[i] = one(a[i]);
}

HWY_INLINE V smaller(V a, V b, bool wanted) {
  const Mask first = wanted ? hn::Le(a, b) : hn::Ge(a, b);
  return or_nan_of(a, or_nan_of(b, hn::IfThenElse(first, a, b)));
}

HWY_NOINLINE void run_angle(const Instruction& step, double* rows) {
  switch (step.operation) {
    case Operation::sine:
      return each_angle(
          step, rows, [](V x) { return sine_cosine(x).sine; },
          [](double x) { return std::sin(x); });
    case Operation::cosine:
      return each_angle(
          step, rows, [](V x) { return sine_cosine(x).cosine; },
          [](double x) { return std::cos(x); });
    case Operation::tangent:
      return each_angle(
          step, rows,
          [](V x) {
            const SineCosine both = sine_cosine(x);
            return hn::Div(both.sine, both.cosine);
          },
          [](double x) { return std::tan(x); });
    case Operation::arcsine:
      return each(step, rows, [](V x) { return arctangent_of(x, root_of_rest(x)); });
    case Operation::arccosine:
      return each(step, rows, [](V x) { return arctangent_of(root_of_rest(x), x); });
    case Operation::arctangent:
      return each(step, rows, [](V x) { return arctangent_of(x, of(1.0)); });
    default:
      return each_two(step, rows, [](V y, V x) { return arctangent_of(y, x); });
  }
}

HWY_NOINLINE void run_function(const Instruction& step, double* rows) {
  switch (step.operation) {
    case Operation::exponential:
      return each(step, rows, [](V x) { return exp_of(x); });
    case Operation::logarithm:
      return each(step, rows, [](V x) { return log_of(x); });
    case Operation::hyperbolic_sine:
      return each(step, rows, [](V x) { return hyperbolic_sine(x); });
    case Operation::hyperbolic_cosine:
      return each(step, rows, [](V x) { return hyperbolic_cosine(x); });
    case Operation::hyperbolic_tangent:
      return each(step, rows, [](V x) { return hyperbolic_tangent(x); });
    case Operation::power:
      return each_two(step, rows, [](V a, V b) { return power_of(a, b); });
    default:
      return run_angle(step, rows);
  }
}

HWY_NOINLINE void run(const Instruction* steps, std::size_t count, double* rows) {
  for (std::size_t k = 0; k < count; ++k) {
    const Instruction& step = steps[k];
    switch (step.operation) {
      case Operation::add:
        each_two(step, rows, [](V a, V b) { return hn::Add(a, b); });
        break;
      case Operation::subtract:
        each_two(step, rows, [](V a, V b) { return hn::Sub(a, b); });
        break;
      case Operation::multiply:
        each_two(step, rows, [](V a, V b) { return hn::Mul(a, b); });
        break;
      case Operation::divide:
        each_two(step, rows, [](V a, V b) { return hn::Div(a, b); });
        break;
      case Operation::negative:
        each(step, rows, [](V x) { return hn::Neg(x); });
        break;
      case Operation::absolute:
        each(step, rows, [](V x) { return hn::Abs(x); });
        break;
      case Operation::square_root:
        each(step, rows, [](V x) { return hn::Sqrt(x); });
        break;
      case Operation::whole_power:
        each(step, rows, [&step](V x) { return whole_power_of(x, step.number); });
        break;
      case Operation::least:
        each_two(step, rows, [](V a, V b) { return smaller(a, b, true); });
        break;
      case Operation::largest:
        each_two(step, rows, [](V a, V b) { return smaller(a, b, false); });
        break;
      default:
        run_function(step, rows);
    }
  }
}

}  // namespace windwright::metrology::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE

namespace windwright::metrology {

namespace {

HWY_EXPORT(run);

bool works(const Step& step) {
  return is_unary(step.operation) || is_binary(step.operation);
}

// How many steps (and outputs) still need each step.
std::vector<std::size_t> uses_of(const Program& program) {
  std::vector<std::size_t> uses(program.steps.size(), 0);
  for (const Step& step : program.steps) {
    if (works(step)) ++uses[step.a];
    if (is_binary(step.operation)) ++uses[step.b];
  }
  for (const std::uint32_t output : program.outputs)
    ++uses[output];
  return uses;
}

}  // namespace

BlockProgram block_program(const Program& program) {
  BlockProgram result;
  result.inputs = program.inputs;
  std::vector<std::size_t> uses = uses_of(program);
  std::vector<std::uint32_t> row(program.steps.size(), 0);
  std::uint32_t next = 0;
  for (std::size_t s = 0; s < row.size(); ++s) {
    if (program.steps[s].operation == Operation::input) row[s] = next++;
  }
  for (std::size_t s = 0; s < row.size(); ++s) {
    if (program.steps[s].operation != Operation::constant) continue;
    row[s] = next++;
    result.constants.push_back(program.steps[s].number);
  }
  std::vector<std::uint32_t> free;
  const auto used = [&](std::uint32_t step) {
    if (--uses[step] == 0 && works(program.steps[step])) free.push_back(row[step]);
  };
  for (std::size_t s = 0; s < row.size(); ++s) {
    const Step& step = program.steps[s];
    if (!works(step)) continue;
    const bool binary = is_binary(step.operation);
    used(step.a);
    if (binary) used(step.b);
    // A row may be read and written in one step: each number is read before it is written.
    if (free.empty()) {
      row[s] = next++;
    } else {
      row[s] = free.back();
      free.pop_back();
    }
    result.instructions.push_back({.operation = step.operation,
                                   .to = row[s],
                                   .a = row[step.a],
                                   .b = row[binary ? step.b : step.a],
                                   .number = step.number});
  }
  result.rows = next;
  for (const std::uint32_t output : program.outputs)
    result.outputs.push_back(row[output]);
  return result;
}

void lay_constants(const BlockProgram& program, double* rows) {
  double* to = rows + program.inputs * block_trials;
  for (const double constant : program.constants)
    to = std::fill_n(to, block_trials, constant);
}

void run_block(const BlockProgram& program, double* rows) {
  HWY_DYNAMIC_DISPATCH(run)
  (program.instructions.data(), program.instructions.size(), rows);
}

}  // namespace windwright::metrology

#endif
