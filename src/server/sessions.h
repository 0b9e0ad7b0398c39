// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "server/routes.h"

#include <chrono>
#include <cstddef>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

struct Person {
  std::string name;
  Role role;
};

struct Session {
  std::string id;  // not the token
  Person person;
  base::UtcTime expires;
};

/// How long a session lasts, and how many there may be.
struct SessionLimits {
  std::chrono::seconds idle = std::chrono::hours(8);         // without a request
  std::chrono::seconds whole = std::chrono::hours(16);       // a long day at the bench
  std::chrono::seconds remembered = std::chrono::hours(48);  // after its end, for a stop only
  std::size_t most = 2000;
};

/// Who is logged in: tokens of 256 random bits, of which only hashes are kept. Any thread may call.
class Sessions {
 public:
  explicit Sessions(const SessionLimits& limits = {}) : limits_(limits) {}

  /// @return  the token; the oldest session ends where there are too many
  std::string begin(const Person& person, base::UtcTime now);
  /// The session of a token that has not expired; it has been used now.
  std::optional<Session> find(std::string_view token, base::UtcTime now);
  /// Also one that has expired, not too long ago: for whoever wants to stop a bench.
  std::optional<Person> ever(std::string_view token, base::UtcTime now);
  void end(std::string_view token);
  /// Ends all of a person's.
  void end_of(std::string_view person);
  /// The session of a person that was used last.
  std::optional<Session> newest_of(std::string_view person, base::UtcTime now) const;
  /// Who has a session, by name, each once with the highest role.
  std::vector<Person> people(base::UtcTime now) const;

 private:
  struct Kept {
    Person person;
    base::UtcTime begun;
    base::UtcTime used;
  };
  base::UtcTime expires(const Kept& kept) const;
  void forget(base::UtcTime now);

  SessionLimits limits_;
  mutable std::mutex mutex_;
  std::map<std::string, Kept, std::less<>> kept_;  // by the token's hash
};

}  // namespace windwright::server
