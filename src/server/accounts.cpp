// SPDX-License-Identifier: Apache-2.0
#include "server/accounts.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "server/secrets.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::server {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

constexpr std::size_t shortest_password = 10;
constexpr std::size_t longest_password = 1024;

json::value document_of(const fs::path& file) {
  const auto permissions = fs::status(file).permissions();
  const auto others = fs::perms::group_all | fs::perms::others_all;
  if ((permissions & others) != fs::perms::none) {
    throw base::BadInput(file.string() + ":1", "can be read or written by others",
                         fmt::format("chmod 600 {}", file.string()));
  }
  json::value document = base::json_from_file(file);
  const json::value& accounts = base::json_member(document, "accounts", file.string());
  if (!accounts.is_array()) {
    throw base::BadInput(file.string(), "member 'accounts' is not a list", "a list");
  }
  return document;
}

}  // namespace

bool is_name(std::string_view name) {
  return !name.empty() && name.size() <= 64 && base::trimmed(name) == name && base::is_utf8(name) &&
         std::none_of(name.begin(), name.end(), [](char letter) {
           return static_cast<unsigned char>(letter) < 0x20 || letter == 0x7f;
         });
}

Accounts::Accounts(const fs::path& file) : nobody_(kept_of_password(random_token())) {
  const json::value document = document_of(file);
  for (const json::value& each : document.at("accounts").as_array()) {
    const std::string name = base::json_string(each, "name", file.string());
    const std::string role_name = base::json_string(each, "role", file.string());
    const std::optional<Role> role = role_from(role_name);
    if (!role || *role == Role::nobody || !is_name(name)) {
      throw base::BadInput(file.string(),
                           fmt::format("account '{}' has the role '{}'", name, role_name),
                           "observer, learner, operator or instructor");
    }
    accounts_[name] = {.role = *role, .kept = base::json_string(each, "password", file.string())};
  }
}

std::optional<Person> Accounts::check(std::string_view name, std::string_view password) const {
  const auto found = accounts_.find(name);
  const bool known = found != accounts_.end();
  const bool right =
      is_password(password.substr(0, longest_password), known ? found->second.kept : nobody_);
  if (!known || !right) return std::nullopt;
  return Person{.name = found->first, .role = found->second.role};
}

void Accounts::add(const fs::path& file, const Person& person, std::string_view password) {
  if (!is_name(person.name)) {
    throw base::BadInput("--add-account", fmt::format("'{}' is no name", person.name),
                         "1 to 64 letters");
  }
  if (password.size() < shortest_password || password.size() > longest_password) {
    throw base::BadInput("password", fmt::format("has {} bytes", password.size()),
                         fmt::format("{} to {}", shortest_password, longest_password));
  }
  json::value document = json::object{{"schema", 1}, {"accounts", json::array()}};
  if (fs::exists(file)) document = document_of(file);
  json::array accounts;
  for (const json::value& each : document.at("accounts").as_array()) {
    if (base::json_string(each, "name", file.string()) != person.name) accounts.push_back(each);
  }
  accounts.push_back(json::object{{"name", person.name},
                                  {"role", name(person.role)},
                                  {"password", kept_of_password(password)}});
  document.as_object()["accounts"] = std::move(accounts);
  // The file that takes its place is made under this mask, so that nobody ever reads it.
  const mode_t before = ::umask(0177);
  try {
    base::write_whole(file, base::json_text(document));
  } catch (...) {
    ::umask(before);
    throw;
  }
  ::umask(before);
}

}  // namespace windwright::server
