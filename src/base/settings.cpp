// SPDX-License-Identifier: Apache-2.0
#include "base/settings.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::base {

struct Settings::File {
  std::filesystem::path path;
  toml::table root;
  std::map<const toml::table*, std::set<std::string, std::less<>>> read;   // keys found
  std::map<const toml::table*, std::set<std::string, std::less<>>> asked;  // keys looked for
};

namespace {

const toml::table& as_table(const void* table) {
  return *static_cast<const toml::table*>(table);
}
const toml::node& as_node(const void* node) {
  return *static_cast<const toml::node*>(node);
}

std::string kind_of(const toml::node& node) {
  if (node.is_table()) return "a table";
  if (node.is_array()) return "a list";
  if (node.is_string()) return fmt::format("the text '{}'", *node.value<std::string>());
  if (node.is_boolean()) return "true or false";
  if (node.is_number()) return fmt::format("the number {}", *node.value<double>());
  return "a date or time";
}

std::string allowed(Bounds bounds) {
  std::vector<std::string> parts;
  if (std::isfinite(bounds.above)) parts.push_back(fmt::format("above {}", bounds.above));
  if (std::isfinite(bounds.at_least)) parts.push_back(fmt::format("at least {}", bounds.at_least));
  if (std::isfinite(bounds.at_most)) parts.push_back(fmt::format("at most {}", bounds.at_most));
  if (parts.empty()) return "a finite number";
  return fmt::format("a number {}", fmt::join(parts, " and "));
}

}  // namespace

Settings::Settings(std::shared_ptr<File> file, const void* table, std::string path)
    : file_(std::move(file)), table_(table), path_(std::move(path)) {}

Settings Settings::from_file(const std::filesystem::path& file) {
  return from_text(text_of_file(file), file.string());
}

Settings Settings::from_text(std::string_view text, std::string file) {
  auto parsed = std::make_shared<File>();
  parsed->path = file;
  try {
    parsed->root = toml::parse(text, file);
  } catch (const toml::parse_error& error) {
    std::string what(error.description());
    what = what.substr(0, what.find('\n'));
    throw BadInput(fmt::format("{}:{}", file, error.source().begin.line),
                   fmt::format("is not TOML ({})", what), "see docs/files.md");
  }
  const auto* root = &parsed->root;
  Settings settings(std::move(parsed), root, "");
  if (!settings.has("schema")) {
    throw BadInput(file + ":1", "key 'schema' is missing", "schema = 1 as the first key");
  }
  if (settings.integer("schema") != 1) {
    throw BadInput(settings.place("schema"), "this schema is not known", "schema = 1");
  }
  return settings;
}

const std::filesystem::path& Settings::file() const {
  return file_->path;
}

const void* Settings::find(std::string_view key) const {
  const toml::table& table = as_table(table_);
  file_->asked[&table].emplace(key);
  const toml::node* node = table.get(key);
  if (node != nullptr) file_->read[&table].emplace(key);
  return node;
}

bool Settings::has(std::string_view key) const {
  return find(key) != nullptr;
}

bool Settings::holds_text(std::string_view key) const {
  const void* found = find(key);
  return found != nullptr && as_node(found).is_string();
}

const void* Settings::require(std::string_view key, std::string_view kind) const {
  const void* node = find(key);
  if (node == nullptr) {
    throw BadInput(place(),
                   fmt::format("key '{}' is missing{}", key, path_.empty() ? "" : " in " + path_),
                   fmt::format("{} = {}", key, kind));
  }
  return node;
}

double Settings::checked(std::string_view key, double value, Bounds bounds) const {
  if (!std::isfinite(value) || value < bounds.at_least || value > bounds.at_most ||
      (std::isfinite(bounds.above) && value <= bounds.above)) {
    throw BadInput(place(key), fmt::format("{} is {}", key, value), allowed(bounds));
  }
  return value;
}

double Settings::number(std::string_view key, Bounds bounds) const {
  const toml::node& node = as_node(require(key, "a number"));
  if (!node.is_number()) {
    throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(node)), allowed(bounds));
  }
  return checked(key, *node.value<double>(), bounds);
}

double Settings::number_or(std::string_view key, double fallback, Bounds bounds) const {
  return has(key) ? number(key, bounds) : fallback;
}

int Settings::integer(std::string_view key, Bounds bounds) const {
  const toml::node& node = as_node(require(key, "a whole number"));
  const auto value = node.is_integer() ? node.value<std::int64_t>() : std::nullopt;
  if (!value || *value > std::numeric_limits<int>::max() ||
      *value < std::numeric_limits<int>::min()) {
    throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(node)), "a whole number");
  }
  return static_cast<int>(checked(key, static_cast<double>(*value), bounds));
}

int Settings::integer_or(std::string_view key, int fallback, Bounds bounds) const {
  return has(key) ? integer(key, bounds) : fallback;
}

bool Settings::flag_or(std::string_view key, bool fallback) const {
  const void* found = find(key);
  if (found == nullptr) return fallback;
  if (const auto value = as_node(found).value<bool>(); as_node(found).is_boolean()) return *value;
  throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(as_node(found))),
                 "true or false");
}

std::string Settings::text(std::string_view key) const {
  const toml::node& node = as_node(require(key, "\"...\""));
  if (!node.is_string() || node.value<std::string>()->empty()) {
    throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(node)),
                   "text in quotes, not empty");
  }
  return *node.value<std::string>();
}

std::string Settings::text_or(std::string_view key, std::string_view fallback) const {
  return has(key) ? text(key) : std::string(fallback);
}

std::vector<double> Settings::numbers(std::string_view key, Bounds bounds) const {
  const toml::node& node = as_node(require(key, "[...]"));
  const toml::array* array = node.as_array();
  if (array == nullptr || array->empty()) {
    throw BadInput(place(key),
                   fmt::format("{} is {}", key, array ? "an empty list" : kind_of(node)),
                   "a list of numbers in brackets");
  }
  std::vector<double> values;
  for (const toml::node& entry : *array) {
    if (!entry.is_number()) {
      throw BadInput(place(key), fmt::format("{} holds {}", key, kind_of(entry)), "only numbers");
    }
    values.push_back(checked(key, *entry.value<double>(), bounds));
  }
  return values;
}

std::vector<std::string> Settings::texts(std::string_view key) const {
  const toml::node& node = as_node(require(key, "[\"...\"]"));
  const toml::array* array = node.as_array();
  std::vector<std::string> values;
  for (std::size_t i = 0; array != nullptr && i < array->size(); ++i) {
    if (!(*array)[i].is_string()) {
      throw BadInput(place(key), fmt::format("{} holds {}", key, kind_of((*array)[i])),
                     "only texts in quotes");
    }
    values.push_back(*(*array)[i].value<std::string>());
  }
  if (values.empty()) {
    throw BadInput(place(key),
                   fmt::format("{} is {}", key, array ? "an empty list" : kind_of(node)),
                   "a list of texts in brackets");
  }
  return values;
}

Settings Settings::table(std::string_view key) const {
  const toml::node& node = as_node(require(key, "a table of its own"));
  if (!node.is_table()) {
    throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(node)),
                   fmt::format("a table [{}]", key));
  }
  const std::size_t bracket = std::min(path_.find_first_not_of('['), path_.size());
  const std::string outer = path_.substr(bracket, path_.size() - 2 * bracket);
  return {file_, node.as_table(), fmt::format("[{}{}{}]", outer, outer.empty() ? "" : ".", key)};
}

std::optional<Settings> Settings::optional_table(std::string_view key) const {
  if (!has(key)) return std::nullopt;
  return table(key);
}

std::vector<Settings> Settings::tables(std::string_view key) const {
  std::vector<Settings> found;
  const void* node = find(key);
  if (node == nullptr) return found;
  const toml::array* array = as_node(node).as_array();
  if (array == nullptr) {
    throw BadInput(place(key), fmt::format("{} is {}", key, kind_of(as_node(node))),
                   fmt::format("tables [[{}]]", key));
  }
  for (const toml::node& entry : *array) {
    if (!entry.is_table()) {
      throw BadInput(place(key), fmt::format("{} holds {}", key, kind_of(entry)),
                     fmt::format("tables [[{}]]", key));
    }
    found.push_back(Settings(file_, entry.as_table(), fmt::format("[[{}]]", key)));
  }
  return found;
}

std::vector<std::string> Settings::keys() const {
  std::vector<std::pair<std::uint64_t, std::string>> ordered;
  for (const auto& [key, node] : as_table(table_)) {
    const auto at = key.source().begin;
    ordered.emplace_back((static_cast<std::uint64_t>(at.line) << 32U) + at.column, key.str());
  }
  std::sort(ordered.begin(), ordered.end());
  std::vector<std::string> names;
  for (auto& [at, name] : ordered)
    names.push_back(std::move(name));
  return names;
}

std::string Settings::place() const {
  const auto line = as_table(table_).source().begin.line;
  return fmt::format("{}:{}", file_->path.string(), std::max<std::size_t>(line, 1));
}

std::string Settings::place(std::string_view key) const {
  const toml::table& table = as_table(table_);
  const auto found = table.find(key);
  if (found == table.end()) return place();
  return fmt::format("{}:{}", file_->path.string(), found->first.source().begin.line);
}

void Settings::refuse_unread_keys() const {
  const toml::table& table = as_table(table_);
  for (const std::string& key : keys()) {
    const bool known = file_->read[&table].contains(key);
    if (!known) {
      std::string nearest;
      std::size_t distance = 4;
      for (const std::string& asked : file_->asked[&table]) {
        if (const auto d = edit_distance(key, asked); d < distance) {
          distance = d;
          nearest = asked;
        }
      }
      throw BadInput(place(key), fmt::format("key '{}' is not known here", key),
                     nearest.empty() ? "one of " + either_of({file_->asked[&table].begin(),
                                                              file_->asked[&table].end()})
                                     : fmt::format("'{}', or leave it out", nearest));
    }
    const toml::node& node = *table.get(key);
    if (node.is_table()) Settings(file_, node.as_table(), key).refuse_unread_keys();
    if (const toml::array* array = node.as_array()) {
      for (const toml::node& entry : *array) {
        if (entry.is_table()) Settings(file_, entry.as_table(), key).refuse_unread_keys();
      }
    }
  }
}

}  // namespace windwright::base
