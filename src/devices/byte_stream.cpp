// SPDX-License-Identifier: Apache-2.0
#include "devices/byte_stream.h"

#include "bench/instrument_tables.h"
#include "devices/link.h"
#include "devices/tcp_connection.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstddef>
#include <cstring>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <variant>

namespace windwright::devices {
namespace {

[[noreturn]] void lost(std::string_view what, int error) {
  throw LinkLost(fmt::format("{}: {}", what, std::strerror(error)));
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

}  // namespace

std::unique_ptr<ByteStream> open_stream(const bench::Endpoint& endpoint, double longest_s) {
  if (const auto* port = std::get_if<bench::SerialPort>(&endpoint))
    return std::make_unique<DescriptorStream>(open_serial(*port));
  return std::make_unique<DescriptorStream>(
      connected_by_tcp(std::get<bench::TcpAddress>(endpoint), longest_s));
}

std::string endpoint_text(const bench::Endpoint& endpoint) {
  if (const auto* port = std::get_if<bench::SerialPort>(&endpoint)) return "port " + port->port;
  const auto& address = std::get<bench::TcpAddress>(endpoint);
  return fmt::format("{}:{}", address.host, address.port);
}

}  // namespace windwright::devices
