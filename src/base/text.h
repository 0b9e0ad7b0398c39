// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::base {

/// Shortest decimal text that reads back as the same double.
std::string number_text(double value);

/// A finite decimal number that takes up the whole text (blanks around it allowed), or nothing.
std::optional<double> number_from_text(std::string_view text);

std::string_view trimmed(std::string_view text);
std::vector<std::string> split(std::string_view text, char separator);
/// Whether a text is well-formed UTF-8 (Unicode 15, table 3-7): no overlong form, no surrogate.
bool is_utf8(std::string_view text);

/// "a, b or c", for messages that say what would be right.
std::string either_of(const std::vector<std::string>& choices);

/// How many letters must be put in, taken out or changed to turn one word into the other
/// (Levenshtein's distance): what a misspelt name was meant to be.
std::size_t edit_distance(std::string_view a, std::string_view b);

}  // namespace windwright::base
