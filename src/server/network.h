// SPDX-License-Identifier: Apache-2.0
// Inside the server module: what connections share. The one header with Boost.Asio and Beast.
#pragma once

#include "server/console_files.h"
#include "server/http_server.h"
#include "server/live_hub.h"
#include "server/serving.h"

#include <boost/asio/awaitable.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/string_body.hpp>
#include <boost/beast/ssl/ssl_stream.hpp>

#include <cstddef>
#include <map>
#include <memory>
#include <optional>
#include <string>

namespace windwright::server {

namespace net = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;

using PlainStream = beast::tcp_stream;
using SecureStream = beast::ssl_stream<beast::tcp_stream>;
using HttpRequest = http::request<http::string_body>;

/// What all connections of a server share; sockets and hub belong to the one thread of `io`.
struct Network {
  Network(const ServingOptions& options, const ListenOptions& listen, ConsoleFiles files,
          const ConnectionLimits& limit);
  ~Network();
  Network(const Network&) = delete;
  Network& operator=(const Network&) = delete;

  // Owned by pointer: what still waits in it is let go while hub and benches are there.
  std::unique_ptr<net::io_context> context = std::make_unique<net::io_context>(1);
  net::io_context& io = *context;
  std::optional<net::ip::tcp::acceptor> acceptor;
  net::thread_pool workers{2};
  net::thread_pool urgent{1};  // stops: they never wait behind anything else
  const ListenOptions listen_options;
  const ConnectionLimits limits;
  const ConsoleFiles console;
  std::optional<net::ssl::context> tls;
  Serving serving;
  LiveHub hub;
  std::size_t connections = 0;
  std::map<std::string, std::size_t> by_address;
};

/// A connection counted as long as it lives.
class Counted {
 public:
  Counted(Network& network, std::string address);
  ~Counted();
  Counted(const Counted&) = delete;
  Counted& operator=(const Counted&) = delete;
  /// Whether there was room for it.
  bool admitted() const { return admitted_; }
  const std::string& address() const { return address_; }

 private:
  Network& network_;
  std::string address_;
  bool admitted_;
};

/// The request as handlers take it.
Request request_of(const Network& network, const HttpRequest& message, const std::string& peer);

/// What every answer says to browsers.
void add_security_headers(const Network& network, http::fields& fields);

/// Turns a connection into a live one, and serves it to its end.
template <typename Stream>
net::awaitable<void> serve_live(Network& network, Stream stream, HttpRequest message,
                                Session session, std::string peer);

extern template net::awaitable<void> serve_live(Network&, PlainStream, HttpRequest, Session,
                                                std::string);
extern template net::awaitable<void> serve_live(Network&, SecureStream, HttpRequest, Session,
                                                std::string);

/// Serves one connection to its end.
template <typename Stream>
net::awaitable<void> converse(Network& network, Stream stream, std::unique_ptr<Counted> counted);

extern template net::awaitable<void> converse(Network&, PlainStream, std::unique_ptr<Counted>);
extern template net::awaitable<void> converse(Network&, SecureStream, std::unique_ptr<Counted>);

}  // namespace windwright::server
