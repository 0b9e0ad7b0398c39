// SPDX-License-Identifier: Apache-2.0
// Inside the catalogue module only.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace windwright::catalogue {

/// The words of a text as both databases index them: letters and digits, small; everything else
/// separates. What is not ASCII belongs to words and keeps its case.
std::vector<std::string> words_of(std::string_view text);

/// The first line of a text with a word that begins with one of these, shortened; else its first.
std::string line_with(std::string_view text, const std::vector<std::string>& words);

}  // namespace windwright::catalogue
