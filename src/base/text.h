// SPDX-License-Identifier: Apache-2.0
#pragma once

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
/// "a, b or c", for messages that say what would be right.
std::string either_of(const std::vector<std::string>& choices);

}  // namespace windwright::base
