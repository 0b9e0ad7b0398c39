// SPDX-License-Identifier: Apache-2.0
// One HTTP connection: reads requests within limits, has them answered, writes the answers.
#include "server/api.h"
#include "server/network.h"

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/websocket/rfc6455.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <fstream>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {
namespace {

constexpr auto tuple = net::as_tuple(net::use_awaitable);
constexpr std::string_view api_path = "/api/";
constexpr std::string_view live_path = "/api/v1/live";
constexpr std::size_t most_viewers = 1000;

std::chrono::nanoseconds duration(double seconds) {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(
      std::chrono::duration<double>(seconds));
}

Answer answer_request(Network& network, const Request& request) {
  if (request.target.starts_with(api_path)) return answer_api(network.serving, request);
  try {
    require_own_site(network.serving, request);
    return network.console.answer(request);
  } catch (const station::Refusal& refusal) {
    return answer_of(refusal);
  }
}

// Whatever a request takes, the sockets' thread does not wait for it.
net::awaitable<Answer> answered(Network& network, const Request& request) {
  const bool urgent = request.method == "POST" && request.target.find("/stop") != std::string::npos;
  net::thread_pool& pool = urgent ? network.urgent : network.workers;
  co_return co_await net::co_spawn(
      pool, [&]() -> net::awaitable<Answer> { co_return answer_request(network, request); },
      net::use_awaitable);
}

template <typename Body>
void fill_head(const Network& network, const Answer& answer, const HttpRequest& asked,
               http::response<Body>& response) {
  response.version(11);
  response.result(static_cast<unsigned>(answer.status));
  response.keep_alive(asked.keep_alive());
  response.set(http::field::server, "windwright");
  add_security_headers(network, response);
  if (asked.target().starts_with("/api/")) response.set(http::field::cache_control, "no-store");
  if (answer.status != 204 && answer.status != 304)
    response.set(http::field::content_type, answer.content_type);
  for (const auto& [name, value] : answer.headers) {
    if (name == "Set-Cookie") {
      response.insert(name, value);
    } else {
      response.set(name, value);
    }
  }
}

template <typename Stream>
net::awaitable<bool> write_file(Network& network, Stream& stream, const Answer& answer,
                                const HttpRequest& asked) {
  http::response<http::buffer_body> response;
  fill_head(network, answer, asked, response);
  response.content_length(answer.file->count);
  response.body().data = nullptr;
  response.body().more = true;
  http::response_serializer<http::buffer_body> serializer{response};
  const auto [head_error, head_bytes] =
      co_await http::async_write_header(stream, serializer, tuple);
  if (head_error) co_return false;
  std::ifstream in(answer.file->file, std::ios::binary);
  in.seekg(static_cast<std::streamoff>(answer.file->first));
  std::vector<char> piece(256 * 1024);
  for (std::uint64_t left = answer.file->count; left > 0;) {
    const auto wanted = static_cast<std::streamsize>(std::min<std::uint64_t>(left, piece.size()));
    const auto got = co_await net::co_spawn(
        network.workers,
        [&]() -> net::awaitable<std::streamsize> {
          in.read(piece.data(), wanted);
          co_return in.gcount();
        },
        net::use_awaitable);
    if (got <= 0) co_return false;  // it has become shorter: the connection says so by its end
    left -= static_cast<std::uint64_t>(got);
    beast::get_lowest_layer(stream).expires_after(duration(network.limits.write_s));
    const auto [error, bytes] = co_await net::async_write(
        stream, net::buffer(piece.data(), static_cast<std::size_t>(got)), tuple);
    if (error) co_return false;
  }
  co_return asked.keep_alive();
}

/// @return  whether the connection goes on
template <typename Stream>
net::awaitable<bool> write_answer(Network& network, Stream& stream, const Answer& answer,
                                  const HttpRequest& asked) {
  beast::get_lowest_layer(stream).expires_after(duration(network.limits.write_s));
  const bool head_only = asked.method() == http::verb::head;
  if (answer.file && !head_only) co_return co_await write_file(network, stream, answer, asked);
  const std::string_view body = answer.shared_body ? *answer.shared_body : answer.body;
  http::response<http::span_body<const char>> response;
  fill_head(network, answer, asked, response);
  const bool bodiless = answer.status == 204 || answer.status == 304;
  if (!bodiless) response.content_length(answer.file ? answer.file->count : body.size());
  if (!head_only && !bodiless) response.body() = {body.data(), body.size()};
  http::response_serializer<http::span_body<const char>> serializer{response};
  if (head_only || bodiless) {
    const auto [error, bytes] = co_await http::async_write_header(stream, serializer, tuple);
    co_return !error && asked.keep_alive();
  }
  const auto [error, bytes] = co_await http::async_write(stream, serializer, tuple);
  co_return !error && asked.keep_alive();
}

Answer answer_of_error(const boost::system::error_code& error) {
  if (error == http::error::header_limit)
    return answer_of(station::Refusal(431, "the head is too large", "at most 16 KiB"));
  if (error == http::error::body_limit)
    return answer_of(station::Refusal(413, "the body is too large", "at most 256 KiB"));
  return answer_of(station::Refusal(400, "this is not HTTP: " + error.message(), "HTTP/1.1"));
}

// Whether a WebSocket may begin; else what it is told.
std::optional<Answer> refuse_live(Network& network, const Request& request, Session& session) {
  try {
    require_own_site(network.serving, request);
    session = require_session(network.serving, request);
    if (network.hub.viewers() >= most_viewers) {
      throw station::Refusal(503, "too many viewers", "wait, then try again");
    }
    return std::nullopt;
  } catch (const station::Refusal& refusal) {
    return answer_of(refusal);
  }
}

/// The next request. @return  nothing where the connection is over
template <typename Stream>
net::awaitable<std::optional<HttpRequest>> next_request(Network& network, Stream& stream,
                                                        beast::flat_buffer& buffer, double wait_s) {
  beast::tcp_stream& lowest = beast::get_lowest_layer(stream);
  if (buffer.size() == 0) {
    lowest.expires_after(duration(wait_s));
    const auto [error, bytes] = co_await stream.async_read_some(buffer.prepare(16 * 1024), tuple);
    if (error) co_return std::nullopt;
    buffer.commit(bytes);
  }
  http::request_parser<http::string_body> parser;
  parser.header_limit(static_cast<std::uint32_t>(network.limits.head_bytes));
  parser.body_limit(network.limits.body_bytes);
  lowest.expires_after(duration(network.limits.head_s));
  const auto [error, bytes] = co_await http::async_read(stream, buffer, parser, tuple);
  if (!error) co_return parser.release();
  if (error.category() == http::make_error_code(http::error::bad_method).category() &&
      error != http::error::end_of_stream && error != http::error::partial_message) {
    HttpRequest nothing;
    nothing.keep_alive(false);
    co_await write_answer(network, stream, answer_of_error(error), nothing);
  }
  co_return std::nullopt;
}

template <typename Stream>
net::awaitable<void> end(Stream& stream) {
  beast::get_lowest_layer(stream).expires_after(std::chrono::seconds(2));
  boost::system::error_code ignored;
  if constexpr (std::is_same_v<Stream, SecureStream>) {
    co_await stream.async_shutdown(tuple);
  }
  beast::get_lowest_layer(stream).socket().shutdown(net::ip::tcp::socket::shutdown_send, ignored);
  // What is still on its way is read for a while: an answer to a request that was too large would
  // else be lost with it.
  std::vector<char> rest(64 * 1024);
  for (int i = 0; i < 64; ++i) {
    const auto [error, bytes] =
        co_await beast::get_lowest_layer(stream).async_read_some(net::buffer(rest), tuple);
    if (error) co_return;
  }
}

}  // namespace

template <typename Stream>
net::awaitable<void> converse(Network& network, Stream stream, std::unique_ptr<Counted> counted) {
  const std::string address = counted->address();
  beast::flat_buffer buffer(network.limits.head_bytes + network.limits.body_bytes);
  bool first = true;
  for (bool goes_on = true; goes_on;) {
    const double wait_s = first ? network.limits.head_s : network.limits.between_s;
    first = false;
    std::optional<HttpRequest> message = co_await next_request(network, stream, buffer, wait_s);
    if (!message) break;
    const Request request = request_of(network, *message, address);
    if (beast::websocket::is_upgrade(*message) &&
        std::string_view(request.target).substr(0, request.target.find('?')) == live_path) {
      Session session{};
      if (const auto refused = refuse_live(network, request, session)) {
        goes_on = co_await write_answer(network, stream, *refused, *message);
        continue;
      }
      co_await serve_live(network, std::move(stream), std::move(*message), std::move(session),
                          request.peer);
      co_return;
    }
    const Answer answer = co_await answered(network, request);
    goes_on = co_await write_answer(network, stream, answer, *message);
  }
  co_await end(stream);
}

template net::awaitable<void> converse(Network&, PlainStream, std::unique_ptr<Counted>);
template net::awaitable<void> converse(Network&, SecureStream, std::unique_ptr<Counted>);

}  // namespace windwright::server
