// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "station/refusal.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {

/// One HTTP request, free of the library that read it: what handlers and fuzzers work on.
struct Request {
  std::string method;  // GET, POST, PUT, DELETE, HEAD, ...
  std::string target;  // as sent: path and query
  std::string host;    // header Host
  std::string origin;  // header Origin; empty: not sent
  std::string peer;    // address of who asks
  std::string token;   // of the session, from `Authorization: Bearer` or else the cookie
  std::string content_type;
  std::string accept_encoding;
  std::string if_none_match;
  std::string range;
  std::string body;
};

/// A part of a file that is sent from the disk.
struct FilePart {
  std::filesystem::path file;
  std::uint64_t first;
  std::uint64_t count;
};

struct Answer {
  int status = 200;
  std::string content_type = "application/json";
  std::string body = {};
  std::vector<std::pair<std::string, std::string>> headers = {};
  std::optional<FilePart> file = {};                    // instead of the body
  std::shared_ptr<const std::string> shared_body = {};  // instead of the body: static files, which
                                                        // all connections send from one memory
};

/// The body of a refusal.
std::string error_body(const station::Refusal& refusal);

}  // namespace windwright::server
