// SPDX-License-Identifier: Apache-2.0
#include "catalogue/words.h"

#include "base/text.h"

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::catalogue {

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> words;
  std::string word;
  const auto end_word = [&] {
    if (!word.empty()) words.push_back(std::move(word));
    word.clear();
  };
  for (const char c : text) {
    if (c >= 'A' && c <= 'Z') {
      word += static_cast<char>(c - 'A' + 'a');
    } else if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
               static_cast<unsigned char>(c) >= 0x80) {
      word += c;
    } else {
      end_word();
    }
  }
  end_word();
  return words;
}

std::string line_with(std::string_view text, const std::vector<std::string>& words) {
  constexpr std::size_t longest = 120;
  const std::vector<std::string> lines = base::split(text, '\n');
  const auto found = std::find_if(lines.begin(), lines.end(), [&](const std::string& line) {
    for (const std::string& word : words_of(line)) {
      for (const std::string& wanted : words) {
        if (word.starts_with(wanted)) return true;
      }
    }
    return false;
  });
  std::string line = found != lines.end() ? *found : lines.front();
  if (line.size() > longest) line = line.substr(0, longest) + "...";
  return line;
}

}  // namespace windwright::catalogue
