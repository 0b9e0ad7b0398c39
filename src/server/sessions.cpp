// SPDX-License-Identifier: Apache-2.0
#include "server/sessions.h"

#include "base/sha256.h"
#include "server/secrets.h"

#include <algorithm>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

base::UtcTime Sessions::expires(const Kept& kept) const {
  return std::min(kept.used + limits_.idle, kept.begun + limits_.whole);
}

void Sessions::forget(base::UtcTime now) {
  std::erase_if(
      kept_, [&](const auto& entry) { return now > expires(entry.second) + limits_.remembered; });
}

std::string Sessions::begin(const Person& person, base::UtcTime now) {
  const std::scoped_lock lock(mutex_);
  forget(now);
  if (kept_.size() >= limits_.most) {
    kept_.erase(std::min_element(kept_.begin(), kept_.end(), [](const auto& a, const auto& b) {
      return a.second.used < b.second.used;
    }));
  }
  std::string token = random_token();
  kept_[base::sha256(token)] = {.person = person, .begun = now, .used = now};
  return token;
}

std::optional<Session> Sessions::find(std::string_view token, base::UtcTime now) {
  if (token.empty()) return std::nullopt;
  const std::scoped_lock lock(mutex_);
  const auto found = kept_.find(base::sha256(token));
  if (found == kept_.end() || now > expires(found->second)) return std::nullopt;
  found->second.used = std::max(found->second.used, now);
  return Session{
      .id = found->first, .person = found->second.person, .expires = expires(found->second)};
}

std::optional<Session> Sessions::newest_of(std::string_view person, base::UtcTime now) const {
  const std::scoped_lock lock(mutex_);
  std::optional<Session> newest;
  base::UtcTime used{};
  for (const auto& [hash, kept] : kept_) {
    if (kept.person.name != person || now > expires(kept) || (newest && kept.used < used)) continue;
    used = kept.used;
    newest = Session{.id = hash, .person = kept.person, .expires = expires(kept)};
  }
  return newest;
}

std::optional<Person> Sessions::ever(std::string_view token, base::UtcTime now) {
  if (token.empty()) return std::nullopt;
  const std::scoped_lock lock(mutex_);
  forget(now);
  const auto found = kept_.find(base::sha256(token));
  return found == kept_.end() ? std::nullopt : std::optional(found->second.person);
}

void Sessions::end(std::string_view token) {
  const std::scoped_lock lock(mutex_);
  kept_.erase(base::sha256(token));
}

void Sessions::end_of(std::string_view person) {
  const std::scoped_lock lock(mutex_);
  std::erase_if(kept_, [&](const auto& entry) { return entry.second.person.name == person; });
}

std::vector<Person> Sessions::people(base::UtcTime now) const {
  const std::scoped_lock lock(mutex_);
  std::map<std::string, Role> roles;
  for (const auto& [hash, kept] : kept_) {
    if (now > expires(kept)) continue;
    const auto [place, first] = roles.emplace(kept.person.name, kept.person.role);
    if (!first) place->second = std::max(place->second, kept.person.role);
  }
  std::vector<Person> people;
  for (const auto& [name, role] : roles)
    people.push_back({.name = name, .role = role});
  return people;
}

}  // namespace windwright::server
