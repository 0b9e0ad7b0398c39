// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <chrono>
#include <cstddef>
#include <functional>
#include <list>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// One client's side of a protocol. Given all that came and was not used yet, it puts the answer to
/// the first request behind `answer` and returns how many bytes that request had; 0 where it is not
/// whole yet; nothing where the client is to be hung up on.
using Conversation =
    std::function<std::optional<std::size_t>(std::string_view received, std::string& answer)>;

/// Answers clients over TCP, many at a time, in the thread that calls serve. A client that sends
/// slowly, or not at all, or reads nothing of its answers keeps nobody else waiting: the last is
/// hung up on, and so is the one longest silent when there are too many.
class TcpService {
 public:
  TcpService() = default;
  TcpService(const TcpService&) = delete;
  TcpService& operator=(const TcpService&) = delete;
  ~TcpService();

  /// @param address  of this computer, such as 127.0.0.1
  /// @param port     0: any free one
  /// @param begin    called for each client
  /// @return  the port
  /// @throws BadInput  not an address of this computer, or the port is taken
  int listen(const std::string& address, int port, std::function<Conversation()> begin);

  /// Answers what comes within this time.
  void serve(std::chrono::milliseconds time);

  std::size_t clients() const { return clients_.size(); }

 private:
  struct Listener {
    int socket;
    std::function<Conversation()> begin;
  };
  struct Client {
    int socket;
    Conversation conversation;
    std::string received;
    std::string answer;
    bool over = false;
  };

  void accept_from(Listener& listener);
  static void converse(Client& client);
  static void send_to(Client& client);

  std::vector<Listener> listeners_;
  std::list<Client> clients_;  // the one longest silent first
};

}  // namespace windwright::devices
