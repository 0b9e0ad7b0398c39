// SPDX-License-Identifier: Apache-2.0
#include "server/http_server.h"

#include "base/errors.h"
#include "base/json.h"
#include "server/api.h"
#include "server/network.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <sys/resource.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <stop_token>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr auto tuple = net::as_tuple(net::use_awaitable);

bool is_loopback(const std::string& address) {
  boost::system::error_code error;
  const auto parsed = net::ip::make_address(address, error);
  return !error && parsed.is_loopback();
}

// Every connection is a file.
void raise_file_limit() {
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0) return;
  limit.rlim_cur = std::min<rlim_t>(limit.rlim_max, 65'536);
  setrlimit(RLIMIT_NOFILE, &limit);
}

net::ip::tcp::acceptor listening(net::io_context& io, const ListenOptions& options) {
  boost::system::error_code error;
  const auto address = net::ip::make_address(options.address, error);
  const std::string where = fmt::format("--listen {}:{}", options.address, options.port);
  if (error) throw base::BadInput(where, "is no address", "ADDRESS:PORT, such as 127.0.0.1:8460");
  net::ip::tcp::acceptor acceptor(io);
  const net::ip::tcp::endpoint end(address, static_cast<unsigned short>(options.port));
  acceptor.open(end.protocol(), error);
  if (!error) acceptor.set_option(net::socket_base::reuse_address(true), error);
  if (!error) acceptor.bind(end, error);
  if (!error) acceptor.listen(net::socket_base::max_listen_connections, error);
  if (error) {
    throw base::BadInput(where, fmt::format("cannot be had ({})", error.message()),
                         "an address of this computer and a free port");
  }
  return acceptor;
}

std::optional<net::ssl::context> tls_of(const ListenOptions& options) {
  if (!options.certificate || !options.key) return std::nullopt;
  net::ssl::context context(net::ssl::context::tls_server);
  context.set_options(net::ssl::context::default_workarounds | net::ssl::context::no_sslv2 |
                      net::ssl::context::no_sslv3 | net::ssl::context::no_tlsv1 |
                      net::ssl::context::no_tlsv1_1);
  boost::system::error_code error;
  context.use_certificate_chain_file(options.certificate->string(), error);
  if (error) {
    throw base::BadInput("--certificate",
                         fmt::format("{}: {}", options.certificate->string(), error.message()),
                         "a PEM file with the server's certificate and its chain");
  }
  context.use_private_key_file(options.key->string(), net::ssl::context::pem, error);
  if (error) {
    throw base::BadInput("--key", fmt::format("{}: {}", options.key->string(), error.message()),
                         "the PEM file of that certificate's key");
  }
  return context;
}

// Accounts and TLS are not asked for on loopback only.
void require_protected(const ServingOptions& serving, const ListenOptions& listen) {
  if (listen.certificate.has_value() != listen.key.has_value()) {
    throw base::BadInput("--certificate", "and --key go together", "both");
  }
  if (is_loopback(listen.address) && !listen.behind_proxy) return;
  const std::string where = fmt::format("--listen {}", listen.address);
  if (!serving.accounts) {
    throw base::BadInput(where, "is reached by others, and there are no accounts",
                         "--accounts FILE, made by --add-account");
  }
  if (!listen.certificate && !listen.behind_proxy) {
    throw base::BadInput(where, "is reached by others, and passwords would go there unencrypted",
                         "--certificate and --key, or --behind-proxy where a proxy has TLS");
  }
}

ServingOptions completed(ServingOptions options, const ListenOptions& listen, int port) {
  options.secure = listen.certificate.has_value() || listen.behind_proxy;
  for (const std::string& host : listen.hosts)
    options.hosts.insert(host);
  const auto add = [&](const std::string& name) {
    options.hosts.insert(fmt::format("{}:{}", name, port));
    if (port == (listen.certificate ? 443 : 80)) options.hosts.insert(name);
  };
  if (is_loopback(listen.address)) {
    for (const char* name : {"127.0.0.1", "localhost", "[::1]"})
      add(name);
  } else {
    add(listen.address.find(':') == std::string::npos ? listen.address
                                                      : fmt::format("[{}]", listen.address));
  }
  options.at_bench = listen.at_bench;
  // Whoever sits at this computer is where its benches are; a proxy is not whoever asks through it.
  if (!listen.behind_proxy) {
    options.at_bench.insert("127.0.0.1");
    options.at_bench.insert("::1");
  }
  return options;
}

std::string last_forwarded(std::string_view list) {
  const std::size_t comma = list.rfind(',');
  if (comma != std::string_view::npos) list.remove_prefix(comma + 1);
  while (!list.empty() && list.front() == ' ')
    list.remove_prefix(1);
  return std::string(list.substr(0, 64));
}

std::string token_of(const HttpRequest& message) {
  constexpr std::string_view bearer = "Bearer ";
  const std::string_view authorization = message[http::field::authorization];
  if (authorization.starts_with(bearer)) return std::string(authorization.substr(bearer.size()));
  const std::string wanted = fmt::format("{}=", cookie_name);
  std::string_view cookies = message[http::field::cookie];
  while (!cookies.empty()) {
    std::string_view one = cookies.substr(0, cookies.find(';'));
    cookies.remove_prefix(std::min(cookies.size(), one.size() + 1));
    while (!one.empty() && one.front() == ' ')
      one.remove_prefix(1);
    if (one.starts_with(wanted)) return std::string(one.substr(wanted.size()));
  }
  return {};
}

}  // namespace

Network::Network(const ServingOptions& options, const ListenOptions& listen, ConsoleFiles files,
                 const ConnectionLimits& limit)
    : acceptor(listening(io, listen)),
      listen_options(listen),
      limits(limit),
      console(std::move(files)),
      tls(tls_of(listen)),
      serving(completed(options, listen, acceptor->local_endpoint().port()),
              {.on_block =
                   [this](std::size_t bench) {
                     net::post(io, [this, bench] {
                       hub.block_came(bench, std::chrono::steady_clock::now());
                     });
                   },
               .on_message =
                   [this](std::size_t bench, std::string text) {
                     net::post(io, [this, bench, text = std::move(text)]() mutable {
                       hub.message(bench, std::move(text));
                     });
                   }}),
      hub(serving) {}

Network::~Network() {
  for (const auto& desk : serving.benches())
    desk->station.close();
  workers.join();
  urgent.join();
  serving.writing().wait();
  acceptor.reset();
  context.reset();
}

Counted::Counted(Network& network, std::string address)
    : network_(network), address_(std::move(address)) {
  std::size_t& of_address = network_.by_address[address_];
  const ConnectionLimits& limits = network_.limits;
  // The last ones are for whoever has few: a crowd of others does not shut out a STOP.
  const bool modest = of_address < limits.of_modest_address;
  const std::size_t room = modest ? limits.connections : limits.connections - limits.for_modest;
  admitted_ = network_.connections < room && of_address < limits.of_one_address;
  ++network_.connections;
  ++of_address;
}

Counted::~Counted() {
  --network_.connections;
  const auto found = network_.by_address.find(address_);
  if (--found->second == 0) network_.by_address.erase(found);
}

Request request_of(const Network& network, const HttpRequest& message, const std::string& peer) {
  Request request{.method = std::string(message.method_string()),
                  .target = std::string(message.target()),
                  .host = std::string(message[http::field::host]),
                  .origin = std::string(message[http::field::origin]),
                  .peer = peer,
                  .token = token_of(message),
                  .content_type = std::string(message[http::field::content_type]),
                  .accept_encoding = std::string(message[http::field::accept_encoding]),
                  .if_none_match = std::string(message[http::field::if_none_match]),
                  .range = std::string(message[http::field::range]),
                  .body = message.body()};
  if (message.count(http::field::host) > 1) request.host = "two of them";
  if (network.listen_options.behind_proxy) {
    const std::string_view forwarded = message["X-Forwarded-For"];
    if (!forwarded.empty()) request.peer = last_forwarded(forwarded);
  }
  return request;
}

void add_security_headers(const Network& network, http::fields& fields) {
  fields.set("Content-Security-Policy",
             "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
             "font-src 'self'; connect-src 'self'; manifest-src 'self'; frame-src 'self'; "
             "base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
  fields.set("X-Content-Type-Options", "nosniff");
  fields.set("Referrer-Policy", "no-referrer");
  fields.set("Cross-Origin-Opener-Policy", "same-origin");
  fields.set("Cross-Origin-Resource-Policy", "same-origin");
  fields.set("Permissions-Policy", "camera=(), microphone=(), geolocation=()");
  if (network.serving.options().secure) fields.set("Strict-Transport-Security", "max-age=31536000");
}

struct HttpServer::Inside {
  Network network;
  net::steady_timer quick{network.io};
  bool chains_under_way = false;

  net::awaitable<void> accept();
  net::awaitable<void> tick();
  void work_out_chains();
};

net::awaitable<void> HttpServer::Inside::accept() {
  for (;;) {
    auto [error, socket] = co_await network.acceptor->async_accept(tuple);
    if (error == net::error::operation_aborted || !network.acceptor->is_open()) co_return;
    if (error) {  // no more files: whoever waits, waits
      net::steady_timer pause(network.io, std::chrono::milliseconds(50));
      co_await pause.async_wait(tuple);
      continue;
    }
    boost::system::error_code gone;
    const auto end = socket.remote_endpoint(gone);
    if (gone) continue;
    socket.set_option(net::ip::tcp::no_delay(true), gone);
    auto counted = std::make_unique<Counted>(network, end.address().to_string());
    if (!counted->admitted()) continue;  // nothing is said to whoever floods
    if (!network.tls) {
      net::co_spawn(network.io,
                    converse(network, PlainStream(std::move(socket)), std::move(counted)),
                    net::detached);
      continue;
    }
    net::co_spawn(
        network.io,
        [this, socket = std::move(socket),
         counted = std::move(counted)]() mutable -> net::awaitable<void> {
          SecureStream stream(std::move(socket), *network.tls);
          beast::get_lowest_layer(stream).expires_after(std::chrono::seconds(10));
          const auto [failed] =
              co_await stream.async_handshake(net::ssl::stream_base::server, tuple);
          if (!failed) co_await converse(network, std::move(stream), std::move(counted));
        },
        net::detached);
  }
}

// The chain takes milliseconds: not on the sockets' thread.
void HttpServer::Inside::work_out_chains() {
  if (chains_under_way) return;
  chains_under_way = true;
  std::vector<std::size_t> watched;
  for (std::size_t bench = 0; bench < network.serving.benches().size(); ++bench) {
    if (network.hub.is_watched(bench)) watched.push_back(bench);
  }
  net::post(network.workers, [this, watched] {
    network.serving.look();
    for (const std::size_t bench : watched) {
      const BenchDesk& desk = *network.serving.benches()[bench];
      std::string readings = base::json_line(
          json::object{{"type", "readings"}, {"bench", desk.id}, {"readings", desk.readings()}});
      net::post(network.io, [this, bench, text = std::move(readings)]() mutable {
        network.hub.readings(bench, std::move(text));
      });
      json::value chain = desk.chain();
      if (chain.is_null()) continue;
      std::string text = base::json_line(
          json::object{{"type", "chain"}, {"bench", desk.id}, {"chain", std::move(chain)}});
      net::post(network.io, [this, bench, text = std::move(text)]() mutable {
        network.hub.chain(bench, std::move(text));
      });
    }
    net::post(network.io, [this] { chains_under_way = false; });
  });
}

net::awaitable<void> HttpServer::Inside::tick() {
  for (int turn = 0;; ++turn) {
    quick.expires_after(std::chrono::milliseconds(100));
    const auto [error] = co_await quick.async_wait(tuple);
    if (error) co_return;
    network.hub.look(std::chrono::steady_clock::now());
    if (turn % 5 == 0) work_out_chains();
  }
}

HttpServer::HttpServer(const ServingOptions& serving, const ListenOptions& listen,
                       ConsoleFiles console, const ConnectionLimits& limits) {
  require_protected(serving, listen);
  raise_file_limit();
  inside_ =
      std::unique_ptr<Inside>(new Inside{Network(serving, listen, std::move(console), limits)});
}

HttpServer::~HttpServer() = default;

int HttpServer::port() const {
  return inside_->network.acceptor->local_endpoint().port();
}

Serving& HttpServer::serving() {
  return inside_->network.serving;
}

void HttpServer::run(const std::stop_token& stop) {
  Network& network = inside_->network;
  net::co_spawn(network.io, inside_->accept(), net::detached);
  net::co_spawn(network.io, inside_->tick(), net::detached);
  const std::stop_callback end(stop, [&network] { network.io.stop(); });
  network.io.run();
  // They are safe before the last page notices.
  for (const auto& desk : network.serving.benches())
    desk->station.close();
}

}  // namespace windwright::server
