// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::base {

namespace json = boost::json;

namespace {

class Writer {
 public:
  explicit Writer(bool indented) : indented_(indented) {}

  void put(const json::value& value) {
    if (const auto* object = value.if_object()) {
      put_all('{', '}', *object, [this](const json::key_value_pair& member) {
        text += json::serialize(json::string(member.key()));
        text += indented_ ? ": " : ":";
        put(member.value());
      });
    } else if (const auto* array = value.if_array()) {
      // Rows of plain numbers stay on one line.
      const bool flat = std::none_of(array->begin(), array->end(), [](const json::value& entry) {
        return entry.is_structured();
      });
      const bool before = indented_;
      if (flat) indented_ = false;
      put_all('[', ']', *array, [this](const json::value& entry) { put(entry); });
      indented_ = before;
    } else if (const auto* number = value.if_double()) {
      text += std::isfinite(*number) ? number_text(*number) : "null";
    } else {
      text += json::serialize(value);
    }
  }

  std::string text;

 private:
  template <typename Container, typename Put>
  void put_all(char open, char close, const Container& container, Put put_one) {
    text += open;
    ++depth_;
    bool first = true;
    for (const auto& entry : container) {
      if (!first) text += ',';
      first = false;
      break_line();
      put_one(entry);
    }
    --depth_;
    if (!first) break_line();
    text += close;
  }

  void break_line() {
    if (indented_) text += '\n' + std::string(2 * depth_, ' ');
  }

  bool indented_;
  std::size_t depth_ = 0;
};

}  // namespace

json::value or_null(double number) {
  return std::isfinite(number) ? json::value(number) : json::value(nullptr);
}

json::value or_null(const std::optional<double>& number) {
  return number ? or_null(*number) : json::value(nullptr);
}

std::string json_text(const json::value& value) {
  Writer writer(true);
  writer.put(value);
  return writer.text + '\n';
}

std::string json_line(const json::value& value) {
  Writer writer(false);
  writer.put(value);
  return writer.text;
}

json::value json_from_text(std::string_view text, std::string_view file) {
  json::error_code error;
  json::stream_parser parser;
  const std::size_t read = parser.write_some(text.data(), text.size(), error);
  if (!error) parser.finish(error);
  const auto rest = text.substr(std::min(read, text.size()));
  if (error || !trimmed(rest.substr(0, rest.find_last_not_of(" \t\r\n") + 1)).empty()) {
    const auto line =
        1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(read), '\n');
    throw BadInput(
        fmt::format("{}:{}", file, line),
        error ? fmt::format("is not JSON ({})", error.message()) : "has text after the JSON",
        "one JSON document");
  }
  return parser.release();
}

json::value json_from_file(const std::filesystem::path& file) {
  return json_from_text(text_of_file(file), file.string());
}

const json::value& json_member(const json::value& object, std::string_view key,
                               std::string_view where) {
  const auto* members = object.if_object();
  const auto* found = members != nullptr ? members->if_contains(key) : nullptr;
  if (found == nullptr) {
    throw BadInput(where, fmt::format("member '{}' is missing", key), "see docs/files.md");
  }
  return *found;
}

double json_number(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = json_member(object, key, where);
  if (!member.is_number()) {
    throw BadInput(where, fmt::format("member '{}' is not a number", key), "a number");
  }
  return member.to_number<double>();
}

std::string json_string(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = json_member(object, key, where);
  if (!member.is_string()) {
    throw BadInput(where, fmt::format("member '{}' is not text", key), "text in quotes");
  }
  return std::string(member.get_string());
}

}  // namespace windwright::base
