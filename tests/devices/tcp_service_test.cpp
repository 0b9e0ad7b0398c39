// SPDX-License-Identifier: Apache-2.0
#include "devices/tcp_service.h"

#include "base/errors.h"

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

/// A client that the test drives in the service's own thread.
class Client {
 public:
  explicit Client(int port) : socket_(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in name{};
    name.sin_family = AF_INET;
    name.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    name.sin_port = htons(static_cast<std::uint16_t>(port));
    EXPECT_EQ(connect(socket_, reinterpret_cast<sockaddr*>(&name), sizeof name), 0);
  }
  Client(Client&& other) noexcept : socket_(std::exchange(other.socket_, -1)) {}
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;
  ~Client() {
    if (socket_ >= 0) close(socket_);
  }
  void say(std::string_view text) const {
    EXPECT_EQ(send(socket_, text.data(), text.size(), MSG_NOSIGNAL),
              static_cast<ssize_t>(text.size()));
  }
  /// What has come until now; "hung up" after the end.
  std::string heard() const {
    std::array<char, 4096> bytes{};
    const ssize_t came = recv(socket_, bytes.data(), bytes.size(), MSG_DONTWAIT);
    if (came == 0) return "hung up";
    return came < 0 ? "" : std::string(bytes.data(), static_cast<std::size_t>(came));
  }

 private:
  int socket_;
};

/// Gives every line back, and hangs up on "bye".
Conversation echo() {
  return [](std::string_view received, std::string& answer) -> std::optional<std::size_t> {
    const auto end = received.find('\n');
    if (end == std::string_view::npos) return 0;
    if (received.starts_with("bye")) return std::nullopt;
    answer += received.substr(0, end + 1);
    return end + 1;
  };
}

TEST(TcpService, ASlowClientKeepsNobodyWaiting) {
  TcpService service;
  const int port = service.listen("127.0.0.1", 0, echo);
  const Client slow(port);
  const Client quick(port);
  slow.say("half a li");
  quick.say("one\ntwo\nthr");
  service.serve(5ms);
  EXPECT_EQ(slow.heard(), "");
  EXPECT_EQ(quick.heard(), "one\ntwo\n");
  slow.say("ne\n");
  quick.say("ee\n");
  service.serve(5ms);
  EXPECT_EQ(slow.heard(), "half a line\n");
  EXPECT_EQ(quick.heard(), "three\n");
}

TEST(TcpService, HangsUpOnTheRightOnes) {
  TcpService service;
  const int port = service.listen("127.0.0.1", 0, echo);
  const Client polite(port);
  const Client endless(port);
  const Client stays(port);
  {
    const Client gone(port);
    gone.say("one\n");
  }
  polite.say("one\nbye\ntwo\n");
  endless.say(std::string(5000, 'x'));
  service.serve(5ms);
  service.serve(5ms);
  EXPECT_EQ(polite.heard(), "one\n");
  EXPECT_EQ(polite.heard(), "hung up");
  EXPECT_EQ(service.clients(), 1U);
  stays.say("still here\n");
  service.serve(5ms);
  EXPECT_EQ(stays.heard(), "still here\n");
}

TEST(TcpService, OfTooManyTheOneLongestSilentGoes) {
  TcpService service;
  const int port = service.listen("127.0.0.1", 0, echo);
  std::vector<Client> clients;
  for (int i = 0; i < 64; ++i) {
    clients.emplace_back(port);
    service.serve(0ms);
  }
  ASSERT_EQ(service.clients(), 64U);
  clients[0].say("here\n");
  service.serve(5ms);
  const Client one_more(port);
  service.serve(5ms);
  EXPECT_EQ(service.clients(), 64U);
  EXPECT_EQ(clients[0].heard(), "here\n");
  EXPECT_EQ(clients[0].heard(), "");
  EXPECT_EQ(clients[1].heard(), "hung up");
}

// What waits for a client is bounded.
TEST(TcpService, HangsUpOnWhoNeverReads) {
  TcpService service;
  const int port = service.listen("127.0.0.1", 0, [] {
    return [](std::string_view received, std::string& answer) -> std::optional<std::size_t> {
      answer += std::string(64'000'000, 'a');  // more than any system keeps for a socket
      return received.size();
    };
  });
  const Client deaf(port);
  deaf.say("x");
  service.serve(5ms);
  EXPECT_EQ(service.clients(), 0U);
}

TEST(TcpService, SaysWhatItCannotListenAt) {
  TcpService service;
  const int port = service.listen("127.0.0.1", 0, echo);
  EXPECT_THROW(service.listen("127.0.0.1", port, echo), base::BadInput);
  EXPECT_THROW(service.listen("the lab", 0, echo), base::BadInput);
}

}  // namespace
}  // namespace windwright::devices
