// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "server/sessions.h"

#include <filesystem>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::server {

/// Who may log in: a JSON file, `{"schema": 1, "accounts": [{"name", "role", "password"}]}`, where
/// the password is what Argon2id left of it. Read and written by its owner only. Any thread may
/// call.
class Accounts {
 public:
  /// @throws BadInput  not such a file, or others may read it
  explicit Accounts(const std::filesystem::path& file);

  /// Takes the same time whether there is such a name or not.
  std::optional<Person> check(std::string_view name, std::string_view password) const;
  std::size_t size() const { return accounts_.size(); }

  /// Adds an account, or replaces that of the same name; makes the file where there is none,
  /// written whole with mode 0600.
  /// @throws BadInput  a name or password that will not do
  static void add(const std::filesystem::path& file, const Person& person,
                  std::string_view password);

 private:
  struct Account {
    Role role;
    std::string kept;
  };
  std::map<std::string, Account, std::less<>> accounts_;
  std::string nobody_;  // what a password is tried on where there is no such name
};

/// Whether a name will do: 1 to 64 bytes of UTF-8 without control characters or blanks at its ends.
bool is_name(std::string_view name);

}  // namespace windwright::server
