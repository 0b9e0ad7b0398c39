// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::base {

/// What a number may be. `above` excludes its bound, the others include theirs.
struct Bounds {
  double at_least = -std::numeric_limits<double>::infinity();
  double at_most = std::numeric_limits<double>::infinity();
  double above = -std::numeric_limits<double>::infinity();

  static Bounds positive() { return {.above = 0.0}; }
  static Bounds not_negative() { return {.at_least = 0.0}; }
};

/// One table of a TOML file. Remembers file and line of every key and which keys were read, so that
/// every complaint names its place and a misspelt key does not pass in silence. Copies are cheap
/// and share the file.
/// Every reading function throws BadInput: key missing, of another type, or outside its bounds.
class Settings {
 public:
  /// Also checks `schema = 1`.
  static Settings from_file(const std::filesystem::path& file);
  static Settings from_text(std::string_view text, std::string file);

  const std::filesystem::path& file() const;
  bool has(std::string_view key) const;
  /// The key is there and holds text: for keys that take a number or a name.
  bool holds_text(std::string_view key) const;

  double number(std::string_view key, Bounds bounds = {}) const;
  double number_or(std::string_view key, double fallback, Bounds bounds = {}) const;
  int integer(std::string_view key, Bounds bounds = {}) const;
  int integer_or(std::string_view key, int fallback, Bounds bounds = {}) const;
  bool flag_or(std::string_view key, bool fallback) const;
  std::string text(std::string_view key) const;
  std::string text_or(std::string_view key, std::string_view fallback) const;
  /// Not empty.
  std::vector<double> numbers(std::string_view key, Bounds bounds = {}) const;
  std::vector<std::string> texts(std::string_view key) const;

  Settings table(std::string_view key) const;
  std::optional<Settings> optional_table(std::string_view key) const;
  /// `[[key]]`, in file order; empty where there is none.
  std::vector<Settings> tables(std::string_view key) const;
  /// Names of all keys in this table, in file order.
  std::vector<std::string> keys() const;

  /// `file:line` of this table or of one of its keys.
  std::string place() const;
  std::string place(std::string_view key) const;

  /// Call when everything wanted has been read.
  /// @throws BadInput  a key in this file that nobody read, with the nearest known name
  void refuse_unread_keys() const;

 private:
  struct File;

  Settings(std::shared_ptr<File> file, const void* table, std::string path);
  const void* find(std::string_view key) const;
  const void* require(std::string_view key, std::string_view kind) const;
  double checked(std::string_view key, double value, Bounds bounds) const;

  std::shared_ptr<File> file_;  // shared: sub-tables outlive the Settings they were taken from
  const void* table_;  // a toml table inside file_; untyped keeps the TOML header out of here
  std::string path_;
};

}  // namespace windwright::base
