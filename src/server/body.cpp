// SPDX-License-Identifier: Apache-2.0
#include "server/body.h"

#include "base/text.h"
#include "server/exchange.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr std::size_t longest_text = 262'144;

[[noreturn]] void refuse(std::string_view name, std::string_view wrong, std::string_view right) {
  station::Refusal refusal(422, fmt::format("{} {}", name, wrong), right);
  refusal.where = std::string(name);
  throw refusal;
}

const json::value& member(const json::object& body, std::string_view name, std::string_view right) {
  const json::value* found = body.if_contains(name);
  if (found == nullptr) refuse(name, "is missing", right);
  return *found;
}

std::string text_of(const json::value& value, std::string_view name) {
  if (!value.is_string()) refuse(name, "is not a text", "a text");
  std::string text(value.get_string());
  if (text.size() > longest_text) refuse(name, "is too long", "a shorter text");
  if (text.find('\0') != std::string::npos) refuse(name, "holds a NUL", "a text");
  return text;
}

}  // namespace

json::object body_object(std::string_view text) {
  if (base::trimmed(text).empty()) return {};
  boost::system::error_code error;
  json::parse_options options;
  options.max_depth = 16;
  json::value value = json::parse(text, error, {}, options);
  if (error)
    throw station::Refusal(400, "the body is not JSON: " + error.message(), "a JSON object");
  if (!value.is_object()) throw station::Refusal(422, "the body is not an object", "a JSON object");
  return std::move(value.as_object());
}

std::string text_member(const json::object& body, std::string_view name) {
  return text_of(member(body, name, "a text"), name);
}

std::string text_member_or(const json::object& body, std::string_view name,
                           std::string_view otherwise) {
  return body.contains(name) ? text_member(body, name) : std::string(otherwise);
}

double number_member(const json::object& body, std::string_view name) {
  const json::value& value = member(body, name, "a number");
  if (!value.is_number()) refuse(name, "is not a number", "a number");
  const auto number = value.to_number<double>();
  if (!std::isfinite(number)) refuse(name, "is not finite", "a number");
  return number;
}

bool flag_member(const json::object& body, std::string_view name) {
  const json::value& value = member(body, name, "true or false");
  if (!value.is_bool()) refuse(name, "is neither true nor false", "true or false");
  return value.get_bool();
}

std::vector<std::string> texts_member(const json::object& body, std::string_view name) {
  const json::value* value = body.if_contains(name);
  if (value == nullptr) return {};
  if (!value->is_array()) refuse(name, "is not a list", "a list of texts");
  std::vector<std::string> texts;
  for (const json::value& one : value->get_array())
    texts.push_back(text_of(one, name));
  return texts;
}

}  // namespace windwright::server
