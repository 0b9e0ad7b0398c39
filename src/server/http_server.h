// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "server/console_files.h"
#include "server/serving.h"

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <stop_token>
#include <string>

namespace windwright::server {

struct ListenOptions {
  std::string address = "127.0.0.1";
  int port = 0;                                      // 0: a free one
  std::optional<std::filesystem::path> certificate;  // TLS: PEM, the chain
  std::optional<std::filesystem::path> key;
  bool behind_proxy = false;       // who asks is in X-Forwarded-For
  std::set<std::string> hosts;     // further names this server is called by
  std::set<std::string> at_bench;  // addresses that stand at the benches
};

/// What a stranger may take: connections, bytes, seconds.
struct ConnectionLimits {
  std::size_t connections = 2000;
  std::size_t for_modest = 400;  // of these, kept for addresses with few connections
  std::size_t of_modest_address = 10;
  std::size_t of_one_address = 1000;
  std::size_t head_bytes = 16 * 1024;
  std::size_t body_bytes = 256 * 1024;
  double head_s = 10.0;     // to send a head, or a body
  double between_s = 60.0;  // from one request to the next
  double write_s = 30.0;    // to take an answer or a live message
};

/// HTTP/1.1 and WebSocket in front of a Serving. Sockets on one thread, requests on others, stops
/// on one of their own.
class HttpServer {
 public:
  /// Listens at once.
  /// @throws BadInput  an address that cannot be had, TLS files that do not fit
  HttpServer(const ServingOptions& serving, const ListenOptions& listen, ConsoleFiles console,
             const ConnectionLimits& limits = {});
  ~HttpServer();
  HttpServer(const HttpServer&) = delete;
  HttpServer& operator=(const HttpServer&) = delete;

  int port() const;
  Serving& serving();
  /// Serves until it is asked to end; benches are brought to their safe state then.
  void run(const std::stop_token& stop);

 private:
  struct Inside;
  std::unique_ptr<Inside> inside_;
};

}  // namespace windwright::server
