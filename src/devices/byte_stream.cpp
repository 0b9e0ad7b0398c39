// SPDX-License-Identifier: Apache-2.0
#include "devices/byte_stream.h"

#include "bench/instrument_tables.h"
#include "devices/link.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstring>
#include <future>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
#include <variant>

namespace windwright::devices {
namespace {

using Clock = std::chrono::steady_clock;

[[noreturn]] void lost(std::string_view what, int error) {
  throw LinkLost(fmt::format("{}: {}", what, std::strerror(error)));
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(Descriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
  Descriptor& operator=(Descriptor&&) = delete;
  int number() const { return number_; }

 private:
  int number_;
};

Clock::time_point deadline_in(double seconds) {
  return Clock::now() +
         std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
}

/// False: the deadline passed. @throws LinkLost
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

class DescriptorStream final : public ByteStream {
 public:
  explicit DescriptorStream(Descriptor descriptor) : descriptor_(std::move(descriptor)) {}

  std::size_t read(std::span<char> buffer, double longest_s) override {
    const auto deadline = deadline_in(longest_s);
    while (wait_for(descriptor_.number(), POLLIN, deadline)) {
      const ssize_t count = ::read(descriptor_.number(), buffer.data(), buffer.size());
      if (count > 0) return static_cast<std::size_t>(count);
      if (count == 0) throw LinkLost("closed by the instrument");
      if (errno != EAGAIN && errno != EINTR) lost("reading", errno);
    }
    return 0;
  }

  void write(std::string_view bytes, double longest_s) override {
    const auto deadline = deadline_in(longest_s);
    while (!bytes.empty()) {
      if (!wait_for(descriptor_.number(), POLLOUT, deadline))
        throw LinkLost(fmt::format("took no bytes for {:g} s", longest_s));
      const ssize_t count = write_some(bytes);
      if (count >= 0) {
        bytes.remove_prefix(static_cast<std::size_t>(count));
      } else if (errno != EAGAIN && errno != EINTR) {
        lost("writing", errno);
      }
    }
  }

 private:
  // A socket whose peer is gone must not raise a signal.
  ssize_t write_some(std::string_view bytes) const {
    const ssize_t count = ::send(descriptor_.number(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (count >= 0 || errno != ENOTSOCK) return count;
    return ::write(descriptor_.number(), bytes.data(), bytes.size());
  }

  Descriptor descriptor_;
};

speed_t speed_of(int baud) {
  constexpr std::array<std::pair<int, speed_t>, 18> speeds{{{300, B300},
                                                            {600, B600},
                                                            {1200, B1200},
                                                            {2400, B2400},
                                                            {4800, B4800},
                                                            {9600, B9600},
                                                            {19200, B19200},
                                                            {38400, B38400},
                                                            {57600, B57600},
                                                            {115200, B115200},
                                                            {230400, B230400},
                                                            {460800, B460800},
                                                            {500000, B500000},
                                                            {921600, B921600},
                                                            {1000000, B1000000},
                                                            {2000000, B2000000},
                                                            {3000000, B3000000},
                                                            {4000000, B4000000}}};
  for (const auto& [number, speed] : speeds) {
    if (number == baud) return speed;
  }
  throw LinkLost(fmt::format("a serial port does not run at {} baud", baud));
}

Descriptor open_serial(const bench::SerialPort& port) {
  Descriptor descriptor(::open(port.port.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  if (descriptor.number() < 0) lost("port " + port.port, errno);
  termios settings{};
  if (::tcgetattr(descriptor.number(), &settings) != 0)
    throw LinkLost("port " + port.port + " is not a serial port");
  ::cfmakeraw(&settings);
  settings.c_cflag |= CLOCAL | CREAD;
  settings.c_cflag &= ~static_cast<tcflag_t>(CSTOPB | PARENB | PARODD | CRTSCTS);
  if (port.stop_bits == 2) settings.c_cflag |= CSTOPB;
  if (port.parity != bench::SerialPort::Parity::none) settings.c_cflag |= PARENB;
  if (port.parity == bench::SerialPort::Parity::odd) settings.c_cflag |= PARODD;
  if (port.parity != bench::SerialPort::Parity::none) settings.c_iflag |= INPCK;
  ::cfsetspeed(&settings, speed_of(port.baud));
  if (::tcsetattr(descriptor.number(), TCSANOW, &settings) != 0) lost("port " + port.port, errno);
  // Nobody else shall take half of the bytes.
  ::ioctl(descriptor.number(), TIOCEXCL);
  ::tcflush(descriptor.number(), TCIFLUSH);
  return descriptor;
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

Descriptor open_tcp(const bench::TcpAddress& address, double longest_s) {
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

}  // namespace

std::unique_ptr<ByteStream> open_stream(const bench::Endpoint& endpoint, double longest_s) {
  if (const auto* port = std::get_if<bench::SerialPort>(&endpoint))
    return std::make_unique<DescriptorStream>(open_serial(*port));
  return std::make_unique<DescriptorStream>(
      open_tcp(std::get<bench::TcpAddress>(endpoint), longest_s));
}

std::string endpoint_text(const bench::Endpoint& endpoint) {
  if (const auto* port = std::get_if<bench::SerialPort>(&endpoint)) return "port " + port->port;
  const auto& address = std::get<bench::TcpAddress>(endpoint);
  return fmt::format("{}:{}", address.host, address.port);
}

}  // namespace windwright::devices
