// SPDX-License-Identifier: Apache-2.0
// A connection to a server of the demo's bench: whatever comes over it, HTTP or WebSocket, the
// server answers with something below 500, or ends the connection. In the bytes TOKEN stands for an
// instructor's session, PEER for an address nobody else has.
#include "refuses.h"
#include "server/http_server.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <stop_token>
#include <string>
#include <string_view>
#include <thread>

namespace {

using namespace windwright;

constexpr int patience_s = 20;

class Served {
 public:
  Served()
      : server_({.benches = {bench()},
                 .runs = scratch_folder() / "runs",
                 .catalogue = {},
                 .accounts = accounts(),
                 .hosts = {},
                 .at_bench = {}},
                {.certificate = {},
                 .key = {},
                 .behind_proxy = true,
                 .hosts = {"bench.test"},
                 .at_bench = {}},
                server::ConsoleFiles::built_in()),
        thread_([this](const std::stop_token& stop) { server_.run(stop); }) {
    token_ = server_.serving().sessions().begin({.name = "Ana", .role = server::Role::instructor},
                                                base::host_now());
  }

  // What a viewer or a program gets for these bytes.
  std::string answer_to(std::string_view bytes) {
    const int line = socket(AF_INET, SOCK_STREAM, 0);
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<std::uint16_t>(server_.port()));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    const timeval patience{.tv_sec = patience_s, .tv_usec = 0};
    setsockopt(line, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    const linger at_once{.l_onoff = 1, .l_linger = 0};  // no port is left waiting behind it
    setsockopt(line, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
    if (connect(line, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0)
      fail("takes no connection any more", bytes);
    const std::string words = filled_in(bytes);
    static_cast<void>(send(line, words.data(), words.size(), MSG_NOSIGNAL));
    shutdown(line, SHUT_WR);
    std::string answer;
    std::array<char, 65536> some{};
    ssize_t got = 0;
    while ((got = recv(line, some.data(), some.size(), 0)) > 0)
      answer.append(some.data(), static_cast<std::size_t>(got));
    if (got < 0 && errno == EAGAIN) fail("neither answers nor ends the connection", bytes);
    close(line);
    return answer;
  }

  [[noreturn]] static void fail(const char* what, std::string_view bytes) {
    std::fprintf(stderr, "the server %s:\n%.*s\n", what, static_cast<int>(bytes.size()),
                 bytes.data());
    std::abort();
  }

 private:
  static std::filesystem::path bench() {
    const std::filesystem::path folder = scratch_folder() / "bench";
    std::filesystem::copy(std::filesystem::path(SOURCE_FOLDER) / "examples/saltmarsh-college",
                          folder, std::filesystem::copy_options::recursive);
    return folder / "bench.toml";
  }
  static std::filesystem::path accounts() {
    server::Accounts::add(scratch_folder() / "accounts.json",
                          {.name = "Leo", .role = server::Role::learner}, "a long password");
    return scratch_folder() / "accounts.json";
  }

  std::string filled_in(std::string_view bytes) {
    std::string words(bytes);
    const auto put = [&](std::string_view word, const std::string& by) {
      for (auto at = words.find(word); at != std::string::npos; at = words.find(word, at))
        words.replace(at, word.size(), by);
    };
    put("TOKEN", token_);
    ++peers_;
    put("PEER", "10." + std::to_string(peers_ >> 16 & 0xff) + "." +
                    std::to_string(peers_ >> 8 & 0xff) + "." + std::to_string(peers_ & 0xff));
    return words;
  }

  server::HttpServer server_;
  std::string token_;
  std::uint32_t peers_ = 0;
  std::jthread thread_;  // last: begins when everything else is there
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static Served served;
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  const std::string answer = served.answer_to(bytes);
  if (answer.empty()) return 0;
  if (!answer.starts_with("HTTP/1.1 ")) Served::fail("speaks no HTTP", bytes);
  const std::string status = answer.substr(9, 3);
  if (status.starts_with('5') && status != "503") Served::fail("breaks", bytes);
  return 0;
}
