// SPDX-License-Identifier: Apache-2.0
#include "server/target.h"

#include "base/text.h"
#include "server/exchange.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {
namespace {

constexpr std::size_t longest_target = 2048;
constexpr std::size_t most_parameters = 64;
constexpr std::size_t most_values = 500;

[[noreturn]] void refuse(std::string_view wrong) {
  throw station::Refusal(400, wrong, "a path of docs/openapi.json");
}

[[noreturn]] void refuse_parameter(std::string_view name, std::string_view text,
                                   std::string_view right) {
  station::Refusal refusal(422, fmt::format("parameter {} is '{}'", name, text.substr(0, 80)),
                           right);
  refusal.where = std::string(name);
  throw refusal;
}

std::optional<unsigned> digit(char letter) {
  if (letter >= '0' && letter <= '9') return static_cast<unsigned>(letter - '0');
  if (letter >= 'a' && letter <= 'f') return static_cast<unsigned>(letter - 'a') + 10U;
  if (letter >= 'A' && letter <= 'F') return static_cast<unsigned>(letter - 'A') + 10U;
  return std::nullopt;
}

std::string decoded(std::string_view text, bool plus_is_blank) {
  std::string plain;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '+' && plus_is_blank) {
      plain += ' ';
    } else if (text[i] != '%') {
      plain += text[i];
    } else {
      const auto high = i + 1 < text.size() ? digit(text[i + 1]) : std::nullopt;
      const auto low = i + 2 < text.size() ? digit(text[i + 2]) : std::nullopt;
      if (!high || !low) refuse("the target has a broken escape");
      plain += static_cast<char>(*high * 16U + *low);
      i += 2;
    }
  }
  if (!base::is_utf8(plain)) refuse("the target is not UTF-8");
  for (const char letter : plain) {
    if (static_cast<unsigned char>(letter) < 0x20 || letter == 0x7f)
      refuse("the target holds a control byte");
  }
  return plain;
}

std::string segment_from(std::string_view text) {
  std::string segment = decoded(text, false);
  if (segment.empty() || segment == "." || segment == "..") {
    refuse("the path has an empty or a dotted segment");
  }
  if (segment.find_first_of("/\\") != std::string::npos) refuse("the path hides a slash");
  return segment;
}

void read_query(std::string_view text, Target& target) {
  while (!text.empty()) {
    const std::string_view one = text.substr(0, text.find('&'));
    text.remove_prefix(std::min(text.size(), one.size() + 1));
    if (one.empty()) continue;
    if (target.query.size() == most_parameters) refuse("the target has too many parameters");
    const std::size_t equals = one.find('=');
    const bool valued = equals != std::string_view::npos;
    target.query.emplace_back(decoded(one.substr(0, equals), true),
                              valued ? decoded(one.substr(equals + 1), true) : std::string());
  }
}

}  // namespace

const std::string* Target::find(std::string_view name) const {
  for (const auto& [key, value] : query) {
    if (key == name) return &value;
  }
  return nullptr;
}

Target target_from_text(std::string_view text) {
  if (text.size() > longest_target) refuse("the target is longer than 2048 bytes");
  if (text.empty() || text.front() != '/') refuse("the target does not begin with a slash");
  Target target;
  const std::size_t mark = text.find('?');
  std::string_view path = text.substr(1, mark == std::string_view::npos ? mark : mark - 1);
  // A slash at the very end names the same place; the root has no segments.
  while (!path.empty()) {
    const std::string_view segment = path.substr(0, path.find('/'));
    target.segments.push_back(segment_from(segment));
    path.remove_prefix(std::min(path.size(), segment.size() + 1));
  }
  if (mark != std::string_view::npos) read_query(text.substr(mark + 1), target);
  return target;
}

double number_parameter(const Target& target, std::string_view name, double otherwise) {
  const std::string* text = target.find(name);
  if (text == nullptr) return otherwise;
  const std::optional<double> value = base::number_from_text(*text);
  if (!value) refuse_parameter(name, *text, "a number");
  return *value;
}

long long whole_parameter(const Target& target, std::string_view name, long long otherwise) {
  const std::string* text = target.find(name);
  if (text == nullptr) return otherwise;
  const std::optional<double> value = base::number_from_text(*text);
  if (!value || *value != std::floor(*value) || std::abs(*value) > 9e15) {
    refuse_parameter(name, *text, "a whole number");
  }
  return static_cast<long long>(*value);
}

std::vector<double> range_parameter(const Target& target, std::string_view name,
                                    std::string_view otherwise) {
  const std::string* given = target.find(name);
  const std::string text(given != nullptr ? *given : std::string(otherwise));
  std::vector<double> numbers;
  for (const std::string& part : base::split(text, ':')) {
    const std::optional<double> number = base::number_from_text(part);
    if (!number) refuse_parameter(name, text, "FROM:STEP:TO");
    numbers.push_back(*number);
  }
  if (numbers.size() == 1) return numbers;
  if (numbers.size() != 3 || !(numbers[1] > 0.0) || numbers[2] < numbers[0]) {
    refuse_parameter(name, text, "FROM:STEP:TO, with a step above 0");
  }
  const double steps = std::floor((numbers[2] - numbers[0]) / numbers[1] + 1e-9);
  if (!(steps < static_cast<double>(most_values))) {
    refuse_parameter(name, text, "at most 500 values");
  }
  std::vector<double> values;
  for (int i = 0; i <= static_cast<int>(steps); ++i)
    values.push_back(numbers[0] + i * numbers[1]);
  return values;
}

}  // namespace windwright::server
