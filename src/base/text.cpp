// SPDX-License-Identifier: Apache-2.0
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::base {

std::string number_text(double value) {
  return fmt::format("{}", value);
}

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view blanks = " \t\r";
  const auto first = text.find_first_not_of(blanks);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blanks) - first + 1);
}

std::optional<double> number_from_text(std::string_view text) {
  std::string_view body = trimmed(text);
  if (!body.empty() && body.front() == '+') body.remove_prefix(1);
  double value = 0.0;
  const auto [end, error] = std::from_chars(body.data(), body.data() + body.size(), value);
  if (error != std::errc{} || end != body.data() + body.size() || !std::isfinite(value)) {
    return std::nullopt;
  }
  return value;
}

std::vector<std::string> split(std::string_view text, char separator) {
  std::vector<std::string> parts;
  std::size_t from = 0;
  while (true) {
    const auto at = text.find(separator, from);
    parts.emplace_back(text.substr(from, at == std::string_view::npos ? at : at - from));
    if (at == std::string_view::npos) return parts;
    from = at + 1;
  }
}

bool is_utf8(std::string_view text) {
  const auto byte = [&](std::size_t i) {
    return i < text.size() ? static_cast<unsigned char>(text[i]) : static_cast<unsigned char>(0);
  };
  for (std::size_t i = 0; i < text.size();) {
    const unsigned char first = byte(i++);
    if (first < 0x80) continue;
    if (first < 0xc2 || first > 0xf4) return false;
    const int more = first < 0xe0 ? 1 : first < 0xf0 ? 2 : 3;
    const unsigned char lowest = first == 0xe0 ? 0xa0 : first == 0xf0 ? 0x90 : 0x80;
    const unsigned char highest = first == 0xed ? 0x9f : first == 0xf4 ? 0x8f : 0xbf;
    if (byte(i) < lowest || byte(i) > highest) return false;
    for (int k = 1; k < more; ++k) {
      if ((byte(i + static_cast<std::size_t>(k)) & 0xc0U) != 0x80U) return false;
    }
    i += static_cast<std::size_t>(more);
  }
  return true;
}

std::string either_of(const std::vector<std::string>& choices) {
  std::string text;
  for (std::size_t i = 0; i < choices.size(); ++i) {
    if (i > 0) text += i + 1 == choices.size() ? " or " : ", ";
    text += choices[i];
  }
  return text;
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j < row.size(); ++j)
    row[j] = j;
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t above = row[j + 1];
      row[j + 1] = std::min({above + 1, row[j] + 1, diagonal + (a[i] == b[j] ? 0U : 1U)});
      diagonal = above;
    }
  }
  return row.back();
}

}  // namespace windwright::base
