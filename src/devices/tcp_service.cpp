// SPDX-License-Identifier: Apache-2.0
#include "devices/tcp_service.h"

#include "base/errors.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <functional>
#include <iterator>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

constexpr std::size_t most_clients = 64;
constexpr std::size_t longest_request = 4096;
constexpr std::size_t most_unread = 1 << 20;  // of answers

bool would_wait() {
  return errno == EAGAIN || errno == EWOULDBLOCK || errno == EINTR;
}

}  // namespace

TcpService::~TcpService() {
  for (const Listener& listener : listeners_)
    close(listener.socket);
  for (const Client& client : clients_)
    close(client.socket);
}

int TcpService::listen(const std::string& address, int port, std::function<Conversation()> begin) {
  const std::string where = fmt::format("{}:{}", address, port);
  sockaddr_in name{};
  name.sin_family = AF_INET;
  name.sin_port = htons(static_cast<std::uint16_t>(port));
  if (inet_pton(AF_INET, address.c_str(), &name.sin_addr) != 1) {
    throw base::BadInput(where, "is not an IPv4 address",
                         "one of this computer's, such as 127.0.0.1, or 0.0.0.0 for all of them");
  }
  const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
  const int yes = 1;
  setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  socklen_t size = sizeof name;
  // NOLINTNEXTLINE(cppcoreguidelines-pro-type-reinterpret-cast): how sockets are named
  auto* named = reinterpret_cast<sockaddr*>(&name);
  if (bind(socket, named, size) != 0 || ::listen(socket, 16) != 0 ||
      getsockname(socket, named, &size) != 0) {
    const int error = errno;
    close(socket);
    throw base::BadInput(where, fmt::format("cannot be listened at ({})", std::strerror(error)),
                         "a free port (0 takes any), above 1023 where you are not root");
  }
  listeners_.push_back({.socket = socket, .begin = std::move(begin)});
  return ntohs(name.sin_port);
}

void TcpService::accept_from(Listener& listener) {
  const int socket = accept4(listener.socket, nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC);
  if (socket < 0) return;
  const int yes = 1;
  setsockopt(socket, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
  setsockopt(socket, SOL_SOCKET, SO_KEEPALIVE, &yes, sizeof yes);
  if (clients_.size() == most_clients) {
    close(clients_.front().socket);
    clients_.pop_front();
  }
  clients_.push_back({.socket = socket,
                      .conversation = listener.begin(),
                      .received = {},
                      .answer = {},
                      .over = false});
}

void TcpService::send_to(Client& client) {
  while (!client.answer.empty()) {
    const ssize_t sent =
        send(client.socket, client.answer.data(), client.answer.size(), MSG_NOSIGNAL);
    if (sent < 0) {
      if (!would_wait()) client.over = true;
      break;
    }
    client.answer.erase(0, static_cast<std::size_t>(sent));
  }
  if (client.answer.size() > most_unread) client.over = true;
}

void TcpService::converse(Client& client) {
  std::array<char, longest_request> bytes{};
  const ssize_t came = recv(client.socket, bytes.data(), bytes.size(), 0);
  if (came == 0 || (came < 0 && !would_wait())) client.over = true;
  if (came <= 0) return;
  client.received.append(bytes.data(), static_cast<std::size_t>(came));
  std::size_t used = 0;
  while (used < client.received.size()) {
    const auto request =
        client.conversation(std::string_view(client.received).substr(used), client.answer);
    if (!request) {
      send_to(client);
      client.over = true;
      return;
    }
    if (*request == 0) break;
    used += *request;
  }
  client.received.erase(0, used);
  if (client.received.size() >= longest_request) client.over = true;
  send_to(client);
}

void TcpService::serve(std::chrono::milliseconds time) {
  using Clock = std::chrono::steady_clock;
  const auto end = Clock::now() + time;
  do {
    std::vector<pollfd> waited;
    for (const Listener& listener : listeners_)
      waited.push_back({.fd = listener.socket, .events = POLLIN, .revents = 0});
    for (const Client& client : clients_) {
      const auto events = static_cast<short>(client.answer.empty() ? POLLIN : POLLIN | POLLOUT);
      waited.push_back({.fd = client.socket, .events = events, .revents = 0});
    }
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(
                          std::max(end - Clock::now(), Clock::duration::zero()))
                          .count();
    if (poll(waited.data(), waited.size(), static_cast<int>(left)) <= 0) continue;
    auto client = clients_.begin();
    for (std::size_t i = listeners_.size(); i < waited.size(); ++i) {
      const auto here = client++;
      if (waited[i].revents == 0) continue;
      if ((waited[i].revents & POLLOUT) != 0) send_to(*here);
      if ((waited[i].revents & (POLLIN | POLLHUP | POLLERR)) != 0) {
        converse(*here);
        clients_.splice(clients_.end(), clients_, here);
      }
    }
    for (std::size_t i = 0; i < listeners_.size(); ++i) {
      if (waited[i].revents != 0) accept_from(listeners_[i]);
    }
    clients_.remove_if([](const Client& each) {
      if (each.over) close(each.socket);
      return each.over;
    });
  } while (Clock::now() < end);
}

}  // namespace windwright::devices
