// SPDX-License-Identifier: Apache-2.0
#include "devices/byte_stream.h"

#include "devices/link.h"
#include "devices/name_server.h"

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <string>
#include <string_view>

namespace windwright::devices {
namespace {

/// A port of this computer that somebody listens at; the kernel completes the connection.
class Listener {
 public:
  Listener() : socket_(::socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof address;
    EXPECT_EQ(::bind(socket_, reinterpret_cast<sockaddr*>(&address), size), 0);
    EXPECT_EQ(::listen(socket_, 1), 0);
    ::getsockname(socket_, reinterpret_cast<sockaddr*>(&address), &size);
    port_ = ntohs(address.sin_port);
  }
  ~Listener() { close(); }
  Listener(const Listener&) = delete;
  Listener& operator=(const Listener&) = delete;

  bench::Endpoint endpoint() const { return bench::TcpAddress{.host = "127.0.0.1", .port = port_}; }
  int accept() const { return ::accept(socket_, nullptr, nullptr); }
  void close() {
    if (socket_ >= 0) ::close(socket_);
    socket_ = -1;
  }

 private:
  int socket_;
  int port_ = 0;
};

TEST(ByteStream, CarriesBytesBothWaysAndTellsWhenThePeerIsGone) {
  Listener listener;
  const auto stream = open_stream(listener.endpoint(), 1.0);
  const int peer = listener.accept();
  std::array<char, 64> buffer{};
  EXPECT_EQ(stream->read(buffer, 0.0), 0U);
  EXPECT_EQ(stream->read(buffer, 0.01), 0U);
  ASSERT_EQ(::write(peer, "1,2\n", 4), 4);
  EXPECT_EQ(std::string(buffer.data(), stream->read(buffer, 1.0)), "1,2\n");
  stream->write("FAN 0\n", 1.0);
  EXPECT_EQ(std::string(buffer.data(), static_cast<std::size_t>(::read(peer, buffer.data(), 64))),
            "FAN 0\n");
  ::close(peer);
  EXPECT_THROW(stream->read(buffer, 1.0), LinkLost);
  // The first writing may still be taken by the system; no signal ends the program.
  EXPECT_THROW(
      {
        for (int i = 0; i < 100; ++i)
          stream->write("FAN 0\n", 1.0);
      },
      LinkLost);
}

TEST(ByteStream, APeerThatNeverReadsDoesNotHangTheWriter) {
  Listener listener;
  const auto stream = open_stream(listener.endpoint(), 1.0);
  const std::string much(64UL << 20, 'x');
  EXPECT_THROW(stream->write(much, 0.05), LinkLost);
}

TEST(ByteStream, SaysWhyThereIsNoConnection) {
  Listener listener;
  const bench::Endpoint endpoint = listener.endpoint();
  listener.close();
  EXPECT_THROW(open_stream(endpoint, 1.0), LinkLost);
  const auto refused = [](const bench::Endpoint& wrong, std::string_view words) {
    try {
      open_stream(wrong, 1.0);
      ADD_FAILURE() << words;
    } catch (const LinkLost& lost) {
      EXPECT_NE(std::string_view(lost.what()).find(words), std::string_view::npos) << lost.what();
    }
  };
  bench::SerialPort port{.port = "/dev/no-such-port",
                         .baud = 9600,
                         .parity = bench::SerialPort::Parity::even,
                         .stop_bits = 2};
  refused(port, "No such file");
  port.port = "/dev/null";
  refused(port, "is not a serial port");
}

TEST(ByteStream, WaitsNoLongerForANameThanForAConnection) {
  const SilentNameServer nobody;
  const bench::Endpoint endpoint = bench::TcpAddress{.host = SilentNameServer::host, .port = 5025};
  try {
    open_stream(endpoint, 0.03);
    FAIL() << "connected to nobody";
  } catch (const LinkLost& lost) {
    EXPECT_STREQ(lost.what(), "host bench.silent.invalid: its name was not looked up in time");
  }
}

}  // namespace
}  // namespace windwright::devices
