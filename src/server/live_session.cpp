// SPDX-License-Identifier: Apache-2.0
// One WebSocket: a coroutine reads, another writes what the viewer has next.
#include "server/call.h"
#include "server/network.h"
#include "server/rate_limit.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/websocket.hpp>
#include <boost/beast/websocket/ssl.hpp>

#include <chrono>
#include <memory>
#include <string>
#include <utility>

namespace windwright::server {

namespace websocket = boost::beast::websocket;

namespace {

constexpr auto tuple = net::as_tuple(net::use_awaitable);
constexpr std::chrono::seconds silent{30};         // nothing read for so long: a ping, then the end
constexpr std::chrono::seconds session_every{20};  // looked after

template <typename Stream>
class LiveSession : public std::enable_shared_from_this<LiveSession<Stream>> {
 public:
  LiveSession(Network& network, Stream stream, Session session, std::string peer, std::string token)
      : network_(network),
        socket_(std::move(stream)),
        wake_(network.io),
        token_(std::move(token)),
        viewer_(network.hub, std::move(session), place_of(network.serving, peer),
                [this] { wake_.cancel(); }) {}

  net::awaitable<bool> accept(const HttpRequest& message) {
    beast::get_lowest_layer(socket_).expires_never();
    socket_.set_option(
        websocket::stream_base::timeout{.handshake_timeout = std::chrono::seconds(10),
                                        .idle_timeout = silent,
                                        .keep_alive_pings = true});
    socket_.set_option(websocket::stream_base::decorator(
        [this](websocket::response_type& answer) { add_security_headers(network_, answer); }));
    socket_.read_message_max(longest_viewer_message);
    socket_.auto_fragment(false);
    const auto [error] = co_await socket_.async_accept(message, tuple);
    co_return !error;
  }

  net::awaitable<void> read() {
    beast::flat_buffer buffer;
    RateLimit limit(40, 0.1);
    for (;;) {
      const auto [error, bytes] = co_await socket_.async_read(buffer, tuple);
      if (error) break;
      if (!socket_.got_text()) {
        co_await close(websocket::close_code::unknown_data);
        break;
      }
      if (!limit.allows("", std::chrono::steady_clock::now())) {
        co_await close(websocket::close_code::policy_error);
        break;
      }
      viewer_.take({static_cast<const char*>(buffer.data().data()), buffer.size()});
      buffer.consume(buffer.size());
    }
    over_ = true;
    wake_.cancel();
  }

  net::awaitable<void> write() {
    auto checked = std::chrono::steady_clock::now();
    while (!over_) {
      while (!over_) {
        const std::optional<LiveMessage> message = viewer_.next();
        if (!message) break;
        socket_.binary(message->binary);
        const auto [error, bytes] =
            co_await socket_.async_write(net::buffer(*message->bytes), tuple);
        if (error) over_ = true;
      }
      if (over_) break;
      const auto now = std::chrono::steady_clock::now();
      if (now - checked > session_every) {
        checked = now;
        if (!network_.serving.sessions().find(token_, base::host_now())) {
          co_await close(websocket::close_code::policy_error);
          break;
        }
      }
      if (viewer_.is_lost()) {
        co_await close(websocket::close_code::try_again_later);
        break;
      }
      wake_.expires_after(session_every);
      co_await wake_.async_wait(tuple);
    }
    over_ = true;
    // Ends whoever still reads.
    beast::get_lowest_layer(socket_).cancel();
  }

 private:
  net::awaitable<void> close(websocket::close_code code) {
    co_await socket_.async_close(websocket::close_reason(code), tuple);
  }

  Network& network_;
  websocket::stream<Stream> socket_;
  net::steady_timer wake_;
  const std::string token_;
  LiveViewer viewer_;
  bool over_ = false;
};

}  // namespace

template <typename Stream>
net::awaitable<void> serve_live(Network& network, Stream stream, HttpRequest message,
                                Session session, std::string peer) {
  const std::string token = request_of(network, message, peer).token;
  // shared: reader and writer end in either order
  const auto live = std::make_shared<LiveSession<Stream>>(network, std::move(stream),
                                                          std::move(session), peer, token);
  if (!co_await live->accept(message)) co_return;
  net::co_spawn(
      network.io, [live]() -> net::awaitable<void> { co_await live->write(); }, net::detached);
  co_await live->read();
}

template net::awaitable<void> serve_live(Network&, PlainStream, HttpRequest, Session, std::string);
template net::awaitable<void> serve_live(Network&, SecureStream, HttpRequest, Session, std::string);

}  // namespace windwright::server
