// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// The pieces an equation is written with.
struct EquationWord {
  enum class Kind { number, name, sign, end };  // sign: one of + - * / ^ ( ) ,
  Kind kind;
  std::string text;
  double number = 0.0;
  std::size_t column = 0;  // of its first letter, from 1, counted in letters
};

/// @param where  `file:line`, for messages
/// @throws BadInput  a character that no equation has, a number that is none
std::vector<EquationWord> equation_words(std::string_view text, std::string_view where);

}  // namespace windwright::metrology
