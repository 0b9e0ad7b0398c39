// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <span>
#include <tuple>
#include <vector>

namespace windwright::metrology {

enum class Operation : std::uint8_t {
  constant,  // `number`
  input,     // the a-th input
  negative,  // of step a, as all below; angles in radians
  square_root,
  exponential,
  logarithm,  // natural
  sine,
  cosine,
  tangent,
  arcsine,
  arccosine,
  arctangent,
  hyperbolic_sine,
  hyperbolic_cosine,
  hyperbolic_tangent,
  absolute,
  whole_power,  // a to the power `number`, whole, from -64 to 64
  add,          // of steps a and b, as all below
  subtract,
  multiply,
  divide,
  power,
  arctangent_of_two,  // of a over b, in the quadrant of the point (b, a)
  least,
  largest
};

/// True for operations of one step, and of two.
bool is_unary(Operation operation);
bool is_binary(Operation operation);

/// One operation on earlier steps.
struct Step {
  Operation operation;
  std::uint32_t a = 0;
  std::uint32_t b = 0;
  double number = 0.0;
};

/// Measurement equations as a flat list of steps without a branch: each uses only steps before it,
/// nothing is computed twice and what is constant is computed once. An equation has no value where
/// a step is not finite.
struct Program {
  std::vector<Step> steps;
  std::size_t inputs = 0;
  std::vector<std::uint32_t> outputs;  // (outputs), steps
};

/// Puts a program together step by step.
class ProgramMaker {
 public:
  explicit ProgramMaker(std::size_t inputs);

  std::uint32_t constant(double number);
  std::uint32_t input(std::size_t index) const;
  std::uint32_t unary(Operation operation, std::uint32_t a);
  /// A power of constant exponent becomes a chain of products or a root where it can.
  std::uint32_t binary(Operation operation, std::uint32_t a, std::uint32_t b);
  std::size_t size() const { return program_.steps.size(); }

  /// Only the steps that the outputs need, inputs first.
  Program finished(std::span<const std::uint32_t> outputs) const;

 private:
  std::uint32_t put(const Step& step);
  std::uint32_t constant_power(std::uint32_t a, double exponent);

  Program program_;
  std::map<std::tuple<Operation, std::uint32_t, std::uint32_t, std::uint64_t>, std::uint32_t>
      known_;
};

/// The result of one operation on numbers.
double result_of(Operation operation, double a, double b, double number);

/// The inputs that a step's value is computed from.
/// @param step  of an output, say
/// @return      (program.inputs)
std::vector<bool> inputs_behind(const Program& program, std::uint32_t step);

/// Every step's value.
/// @param inputs  (program.inputs)
std::vector<double> values_of(const Program& program, std::span<const double> inputs);

}  // namespace windwright::metrology
