// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/program.h"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace windwright::metrology {

/// Trials that are computed together: small enough for the nearest cache.
inline constexpr std::size_t block_trials = 256;

/// A program laid out for vector lanes: every step works on a block of trials in rows of
/// block_trials numbers, and rows are used again as soon as nobody needs their content.
struct BlockProgram {
  struct Instruction {
    Operation operation;
    std::uint32_t to;  // rows
    std::uint32_t a;
    std::uint32_t b;
    double number;
  };
  std::vector<Instruction> instructions;
  std::vector<double> constants;       // stand in the rows behind the inputs
  std::size_t inputs = 0;              // row i holds input i
  std::size_t rows = 0;                // inputs, constants, then room for results
  std::vector<std::uint32_t> outputs;  // (outputs), rows
};

BlockProgram block_program(const Program& program);

/// Fills the constants' rows; once for a set of rows.
/// @param rows  program.rows x block_trials, row by row
void lay_constants(const BlockProgram& program, double* rows);

/// Computes a block from the inputs' rows. The same bits with every instruction set. Allocates
/// nothing.
void run_block(const BlockProgram& program, double* rows);

}  // namespace windwright::metrology
