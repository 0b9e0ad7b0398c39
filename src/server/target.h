// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {

/// A request's target, taken apart.
struct Target {
  std::vector<std::string> segments;  // of the path, decoded; none is "." or ".."
  std::vector<std::pair<std::string, std::string>> query;  // decoded, in order

  /// The first parameter of that name; null where there is none.
  const std::string* find(std::string_view name) const;
};

/// Percent-decoding of path and query. What could name another place than it seems to is refused: a
/// NUL or control byte, a decoded slash or backslash in a segment, an empty, "." or ".." segment, a
/// broken escape, more than 2 048 bytes, text that is not UTF-8.
/// @throws Refusal  400
/// Source of the escapes: RFC 3986, 2.1.
Target target_from_text(std::string_view text);

/// A whole number or a number from the text of a parameter.
/// @throws Refusal  422, with the parameter as its place
double number_parameter(const Target& target, std::string_view name, double otherwise);
long long whole_parameter(const Target& target, std::string_view name, long long otherwise);

/// FROM:STEP:TO as values, TO included where a step meets it.
/// @throws Refusal  422; more than 500 values
std::vector<double> range_parameter(const Target& target, std::string_view name,
                                    std::string_view otherwise);

}  // namespace windwright::server
