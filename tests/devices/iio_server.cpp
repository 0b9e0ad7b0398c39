// SPDX-License-Identifier: Apache-2.0
#include "iio_server.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <sstream>
#include <stdexcept>
#include <utility>

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

constexpr int look_ms = 5;   // how soon the thread notices that it is over
constexpr int drip_ms = 20;  // 8 bytes then take longer than the tests wait

void put(int client, std::string_view bytes) {
  static_cast<void>(send(client, bytes.data(), bytes.size(), MSG_NOSIGNAL));
}

std::vector<std::string> words_of(const std::string& line) {
  std::istringstream text(line);
  std::vector<std::string> words;
  for (std::string word; text >> word;)
    words.push_back(word);
  return words;
}

// What lies between the command and its last `without` words.
std::string joined(const std::vector<std::string>& words, std::size_t without) {
  std::string text;
  for (std::size_t i = 1; i + without < words.size(); ++i)
    text += (text.empty() ? "" : " ") + words[i];
  return text;
}

}  // namespace

IioServer::IioServer() {
  listener_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in name{};
  name.sin_family = AF_INET;
  name.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof name;
  auto* named = reinterpret_cast<sockaddr*>(&name);
  const bool listens = bind(listener_, named, size) == 0 && listen(listener_, 8) == 0 &&
                       getsockname(listener_, named, &size) == 0;
  if (!listens) throw std::runtime_error("no port to listen at");
  port_ = ntohs(name.sin_port);
  thread_ = std::jthread([this](const std::stop_token& over) { run(over); });
}

IioServer::~IioServer() {
  thread_.request_stop();
  thread_.join();
  for (const auto& [client, received] : clients_)
    close(client);
  for (const int client : silent_)
    close(client);
  close(listener_);
}

std::string IioServer::uri() const {
  return fmt::format("ip:127.0.0.1:{}", port_);
}

SteadyClock IioServer::clock() {
  return {.now = [this] { return SteadyClock::Time(std::chrono::nanoseconds(time_ns_)); },
          .sleep_until =
              [this](SteadyClock::Time until) {
                const std::int64_t wanted = until.time_since_epoch().count();
                time_ns_ = std::max(time_ns_.load(), wanted);
              }};
}

std::string IioServer::written(const std::string& attribute) {
  const std::lock_guard lock(mutex_);
  return written_[attribute];
}

std::string IioServer::command(std::string_view beginning) {
  const std::lock_guard lock(mutex_);
  const auto found = std::find_if(commands_.rbegin(), commands_.rend(),
                                  [&](const auto& line) { return line.starts_with(beginning); });
  return found == commands_.rend() ? std::string() : *found;
}

void IioServer::run(const std::stop_token& over) {
  while (!over.stop_requested()) {
    std::vector<pollfd> waited{{.fd = listener_, .events = POLLIN, .revents = 0}};
    for (const auto& [client, received] : clients_)
      waited.push_back({.fd = client, .events = POLLIN, .revents = 0});
    if (poll(waited.data(), waited.size(), look_ms) <= 0) continue;
    if (waited[0].revents != 0) {
      ++connections_;
      clients_.emplace(accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC), "");
    }
    for (std::size_t i = 1; i < waited.size(); ++i) {
      if (waited[i].revents == 0) continue;
      const int client = waited[i].fd;
      std::array<char, 4096> bytes{};
      const auto count = recv(client, bytes.data(), bytes.size(), 0);
      std::string& received = clients_[client];
      if (count > 0) received.append(bytes.data(), static_cast<std::size_t>(count));
      bool goes_on = count > 0;
      for (auto end = received.find('\n'); goes_on && end != std::string::npos;
           end = received.find('\n')) {
        const std::string line = received.substr(0, received.find_last_not_of("\r", end - 1) + 1);
        received.erase(0, end + 1);
        goes_on = answer(client, line, received);
      }
      if (goes_on) continue;
      const bool silent = std::find(silent_.begin(), silent_.end(), client) != silent_.end();
      if (!silent) close(client);
      clients_.erase(client);
    }
  }
}

bool IioServer::answer(int client, const std::string& line, std::string& received) {
  const auto words = words_of(line);
  if (words.empty()) return true;
  {
    const std::lock_guard lock(mutex_);
    commands_.push_back(line);
    if (commands_.size() > 100) commands_.erase(commands_.begin());
  }
  if (words[0] == "EXIT") return false;
  if (refusals_ > 0 && words[0] == "PRINT") {
    --refusals_;
    pass(20ms);
    return false;
  }
  if (words[0] == "PRINT" && drips) {
    put(client, fmt::format("{}\n", xml.size()));
    for (std::size_t i = 0; i < xml.size() && !thread_.get_stop_token().stop_requested(); ++i) {
      std::this_thread::sleep_for(std::chrono::milliseconds(drip_ms));
      put(client, std::string_view(xml).substr(i, 1));
    }
    return false;
  }
  if (words[0] == "PRINT") {
    put(client, fmt::format("{}\n{}\n", xml.size(), xml));
  } else if (words[0] == "READ") {
    const auto found = attributes.find(joined(words, 0));
    put(client, found == attributes.end()
                    ? "-2\n"
                    : fmt::format("{}\n{}\n", found->second.size(), found->second));
  } else if (words[0] == "WRITE") {
    // WRITE device [direction channel] attribute bytes, then the bytes.
    const std::size_t size = std::stoul(words.back());
    while (received.size() < size) {
      std::array<char, 256> bytes{};
      const auto count = recv(client, bytes.data(), bytes.size(), 0);
      if (count <= 0) return false;
      received.append(bytes.data(), static_cast<std::size_t>(count));
    }
    const std::string value(received.substr(0, size).c_str());
    received.erase(0, size);
    if (fixed) {
      put(client, "-22\n");
      return true;
    }
    const std::lock_guard lock(mutex_);
    written_[joined(words, 1)] += value + ";";
    if (attributes.contains(joined(words, 1))) attributes[joined(words, 1)] = value;
    put(client, fmt::format("{}\n", size));
  } else if (words[0] == "OPEN") {
    mask_ = words.at(3);
    put(client, "0\n");
  } else if (words[0] == "READBUF") {
    return read_buffer(client, std::stoul(words.at(2)));
  } else {
    put(client, "0\n");
  }
  return true;
}

std::string IioServer::samples(std::size_t bytes) {
  const double period_ns = 1e9 / sample_rate_hz;
  auto number =
      static_cast<std::int64_t>(std::ceil(static_cast<double>(time_ns_) / period_ns - 0.5));
  std::string all;
  while (all.size() + sample_bytes <= bytes)
    all += sample(number++);
  time_ns_ = static_cast<std::int64_t>(static_cast<double>(number) * period_ns);
  return all;
}

bool IioServer::read_buffer(int client, std::size_t wanted) {
  if (misdeed_one_in > 0 && random_() % misdeed_one_in == 0) return misbehave(client, wanted);
  const std::string all = samples(wanted);
  put(client, fmt::format("{}\n{}\n", all.size(), mask_) + all);
  return true;
}

bool IioServer::misbehave(int client, std::size_t wanted) {
  const Misdeed misdeed = kinds[static_cast<std::size_t>(misdeeds_++) % kinds.size()];
  pass(std::chrono::milliseconds(100 + random_() % 300));
  const std::string header = fmt::format("{}\n{}\n", wanted, mask_);
  switch (misdeed) {
    case Misdeed::close:
      return false;
    case Misdeed::close_within:
      put(client, header + std::string(wanted / 2, 'x'));
      return false;
    case Misdeed::garbage: {
      std::string bytes;
      for (std::size_t i = 1 + random_() % 60; i > 0; --i)
        bytes += static_cast<char>(0x80 + random_() % 0x7f);
      put(client, bytes + "\n");
      return false;
    }
    case Misdeed::silence:
      silent_.push_back(client);
      return false;
    case Misdeed::half:
      put(client, header + std::string(wanted / 2, 'x'));
      silent_.push_back(client);
      return false;
    case Misdeed::drip:
      // A byte at a time, until the other side has had enough of it.
      put(client, header);
      for (std::size_t i = 0; i < wanted; ++i) {
        pollfd closed{.fd = client, .events = POLLIN | POLLRDHUP, .revents = 0};
        if (poll(&closed, 1, drip_ms) > 0) break;
        put(client, "x");
      }
      return false;
    case Misdeed::error:
      put(client, "-5\n");
      return true;
    case Misdeed::refuse_next:
      refusals_ = 1 + static_cast<int>(random_() % 3);
      return false;
    default:
      return true;
  }
}

}  // namespace windwright::devices
