// SPDX-License-Identifier: Apache-2.0
#include "devices/tcp_connection.h"

#include "bench/instrument_tables.h"
#include "devices/link.h"

#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <future>
#include <memory>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

namespace windwright::devices {
namespace {

using Clock = std::chrono::steady_clock;

[[noreturn]] void lost(std::string_view what, int error) {
  throw LinkLost(fmt::format("{}: {}", what, std::strerror(error)));
}

// Nothing: not within this address; errno says why.
Descriptor connected(const addrinfo& address, Clock::time_point deadline) {
  Descriptor socket(::socket(address.ai_family, address.ai_socktype | SOCK_NONBLOCK | SOCK_CLOEXEC,
                             address.ai_protocol));
  if (socket.number() < 0) return socket;
  if (::connect(socket.number(), address.ai_addr, address.ai_addrlen) != 0) {
    if (errno != EINPROGRESS) return Descriptor(-1);
    if (!wait_for(socket.number(), POLLOUT, deadline)) {
      errno = ETIMEDOUT;
      return Descriptor(-1);
    }
    int error = 0;
    socklen_t size = sizeof error;
    ::getsockopt(socket.number(), SOL_SOCKET, SO_ERROR, &error, &size);
    if (error != 0) {
      errno = error;
      return Descriptor(-1);
    }
  }
  const int on = 1;
  ::setsockopt(socket.number(), IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
  return socket;
}

struct FreeAddresses {
  void operator()(addrinfo* list) const { ::freeaddrinfo(list); }
};
using Addresses = std::unique_ptr<addrinfo, FreeAddresses>;

/// What a host's name stands for.
struct LookUp {
  int failed;  // an EAI_ number, or 0
  Addresses addresses;
};

LookUp look_up(const bench::TcpAddress& address, int flags) {
  addrinfo wanted{};
  wanted.ai_socktype = SOCK_STREAM;
  wanted.ai_flags = flags;
  addrinfo* list = nullptr;
  const int failed =
      ::getaddrinfo(address.host.c_str(), std::to_string(address.port).c_str(), &wanted, &list);
  return {.failed = failed, .addresses = Addresses(list)};
}

// The system takes as long as it likes over a name, and cannot be told to give up: so it is asked
// on a thread that is left behind when the time is over.
Addresses addresses_of(const bench::TcpAddress& address, Clock::time_point deadline) {
  LookUp found = look_up(address, AI_NUMERICHOST);
  if (found.failed == EAI_NONAME) {
    std::packaged_task<LookUp()> ask([address] { return look_up(address, 0); });
    std::future<LookUp> answer = ask.get_future();
    std::thread(std::move(ask)).detach();
    if (answer.wait_until(deadline) != std::future_status::ready)
      throw LinkLost(fmt::format("host {}: its name was not looked up in time", address.host));
    found = answer.get();
  }
  if (found.failed != 0)
    throw LinkLost(fmt::format("host {}: {}", address.host, ::gai_strerror(found.failed)));
  return std::move(found.addresses);
}

}  // namespace

Descriptor::~Descriptor() {
  if (number_ >= 0) ::close(number_);
}

Clock::time_point deadline_in(double seconds) {
  return Clock::now() +
         std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
}

bool wait_for(int descriptor, short events, Clock::time_point deadline) {
  while (true) {
    const auto left = std::chrono::ceil<std::chrono::milliseconds>(deadline - Clock::now());
    pollfd waiting{.fd = descriptor, .events = events, .revents = 0};
    const int ready = ::poll(&waiting, 1, static_cast<int>(std::max<long long>(left.count(), 0)));
    if (ready > 0) return true;
    if (ready == 0) return false;
    if (errno != EINTR) lost("waiting", errno);
  }
}

Descriptor connected_by_tcp(const bench::TcpAddress& address, double longest_s) {
  const auto deadline = deadline_in(longest_s);
  const Addresses list = addresses_of(address, deadline);
  int error = EHOSTUNREACH;
  for (const addrinfo* one = list.get(); one != nullptr; one = one->ai_next) {
    Descriptor socket = connected(*one, deadline);
    if (socket.number() >= 0) return socket;
    error = errno;
  }
  lost(fmt::format("{}:{}", address.host, address.port), error);
}

void require_known_host(const bench::TcpAddress& address, double longest_s) {
  addresses_of(address, deadline_in(longest_s));
}

}  // namespace windwright::devices
