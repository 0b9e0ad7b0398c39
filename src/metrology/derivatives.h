// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/program.h"

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

/// An output's exact derivatives at a point, along directions z of the input space.
struct Derivatives {
  double value;
  std::vector<double> first;   // (directions), d/dz_i
  std::vector<double> second;  // directions x directions, d2/dz_i dz_j
  std::vector<double> third;   // directions x directions, row i column j: d3/dz_i dz_j dz_j
};

/// By forward differentiation of every step (truncated Taylor arithmetic), not by differences. Not
/// finite where the equation has no derivative, as a root at 0. At the kink of abs, min or max one
/// side's derivative is taken.
/// @param point       (inputs)
/// @param directions  inputs x directions, row by row: d input / dz; the identity gives the
///                    derivatives by the inputs themselves
/// @return            (outputs)
/// Source: Griewank and Walther, Evaluating Derivatives, 2nd ed. (2008), chapters 3 and 13.
std::vector<Derivatives> derivatives(const Program& program, std::span<const double> point,
                                     std::span<const double> directions);

/// First derivatives alone, by the inputs themselves: (outputs) of (inputs).
std::vector<std::vector<double>> sensitivities(const Program& program,
                                               std::span<const double> point);

/// Outputs that depend on a kink of abs, min or max exactly at this point.
std::vector<bool> at_kink(const Program& program, std::span<const double> point);

}  // namespace windwright::metrology
