// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "fresh_folder.h"
#include "server/api.h"
#include "server/serving.h"

#include <filesystem>
#include <memory>
#include <string>

namespace windwright::server {

/// The demo's bench behind the interface, without sockets, and a session of each role.
class ServedBench {
 public:
  explicit ServedBench(const std::filesystem::path& folder) {
    namespace fs = std::filesystem;
    fs::copy(fs::path(SOURCE_FOLDER) / "examples/saltmarsh-college", folder / "bench",
             fs::copy_options::recursive);
    serving = std::make_unique<Serving>(ServingOptions{.benches = {folder / "bench/bench.toml"},
                                                       .runs = folder / "runs",
                                                       .catalogue = {},
                                                       .accounts = {},
                                                       .hosts = {"bench.test"},
                                                       .at_bench = {"127.0.0.1"}},
                                        ServingListener{});
  }

  std::string token(Role role) {
    return serving->sessions().begin({.name = std::string(name(role)), .role = role},
                                     base::host_now());
  }

  Answer ask(std::string method, std::string target, const std::string& with_token,
             std::string body = {}) {
    return answer_api(*serving, Request{.method = std::move(method),
                                        .target = "/api/v1" + target,
                                        .host = "bench.test",
                                        .origin = {},
                                        .peer = "127.0.0.1",
                                        .token = with_token,
                                        .content_type = "application/json",
                                        .accept_encoding = {},
                                        .if_none_match = {},
                                        .range = {},
                                        .body = std::move(body)});
  }

  std::unique_ptr<Serving> serving;
};

}  // namespace windwright::server
