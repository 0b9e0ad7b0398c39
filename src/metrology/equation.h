// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/program.h"

#include <cstddef>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

/// A measurement equation as a person types it: `name = text`, with the place it came from.
struct Equation {
  std::string name;
  std::string text;
  std::string where;  // `file:line`, for messages
};

/// A known number that equations name.
struct NamedConstant {
  std::string name;
  double value;
};

/// What equations may name besides each other.
struct EquationNames {
  std::vector<std::string> inputs;
  std::vector<NamedConstant> constants = {};
};

/// Ordinary notation: numbers, names, `+ - * / ^`, brackets; `pi`; functions of one argument: sqrt,
/// exp, log or ln (natural), log10, sin, cos, tan, asin, acos, atan (radians), sinh, cosh, tanh,
/// abs; of two: atan2(y, x); of two or more: min, max. `^` binds strongest and from the right, a
/// sign binds weaker than it and stronger than `*`: -2^2 is -4, 2^-1 is 1/2, 2^3^2 is 512. Also
/// read: the signs for times, dot, minus and divided by, superscript 2 and 3, and Greek pi.
/// Nothing is multiplied unless it says so: 2 x is an error. Equations may name each other in any
/// order, but not in a circle.
/// @param equations  the first `outputs` are the answers
/// @return           outputs in the order given
/// @throws BadInput  with place and column: anything else, unknown or doubled names, circles
Program compiled(std::span<const Equation> equations, std::size_t outputs,
                 const EquationNames& names);

/// Can this be an input's, constant's or equation's name: letters, digits and `_`, no digit first,
/// and no function's name nor `pi`?
bool is_equation_name(const std::string& name);

}  // namespace windwright::metrology
