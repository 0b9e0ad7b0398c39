// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "server/target.h"

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::server {

struct Answer;
struct Call;

/// What a person may do; each role may do what those before it may.
enum class Role { nobody, observer, learner, bench_operator, instructor };
std::string_view name(Role role);  // "none", "observer", "learner", "operator", "instructor"
std::optional<Role> role_from(std::string_view name);

/// One row of the table that says who may call what: docs/openapi.json says the same in `x-role`
/// and `x-lease`, and a test compares the two.
struct Route {
  std::string_view method;
  std::string_view pattern;    // below /api/v1; "{bench}" takes one segment
  std::string_view operation;  // operationId
  Role role;
  bool lease;  // the caller has to hold the bench's lease
  Answer (*handle)(Call& call);
};
std::span<const Route> routes();

/// What a path names.
struct Match {
  const Route* route;
  std::map<std::string, std::string, std::less<>> names;  // by the name in braces
};

/// @param segments  of the path below /api/v1
/// @throws Refusal  404 no such path; 405 another method
Match match(std::string_view method, std::span<const std::string> segments);

}  // namespace windwright::server
