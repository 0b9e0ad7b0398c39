// SPDX-License-Identifier: Apache-2.0
#include "bench/mqtt_broker.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <string_view>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

constexpr int plain_port = 1883;
constexpr int tls_port = 8883;

std::filesystem::path file_in(const Settings& table, std::string_view key,
                              const std::filesystem::path& folder) {
  const std::string name = table.text(key);
  if (name.empty()) throw BadInput(table.place(key), "names no file", "a file, or no such key");
  return std::filesystem::absolute(folder / name).lexically_normal();
}

void require_file(const std::filesystem::path& file, const std::string& place) {
  if (std::filesystem::is_regular_file(file)) return;
  throw BadInput(place, fmt::format("there is no file '{}'", file.string()),
                 "a file, from the bench's folder or absolute");
}

bool is_topic(std::string_view topic) {
  constexpr std::size_t longest = 1000;
  return !topic.empty() && topic.size() <= longest && !topic.starts_with('$') &&
         std::none_of(topic.begin(), topic.end(), [](unsigned char letter) {
           return letter == '#' || letter == '+' || letter < 0x20 || letter == 0x7f;
         });
}

}  // namespace

std::string broker_text(const MqttBroker& broker) {
  return fmt::format("broker {}:{}", broker.host, broker.port);
}

MqttBroker mqtt_broker(const Settings& table, const std::filesystem::path& folder) {
  MqttBroker broker{.host = table.text("host"), .user = table.text_or("user", "")};
  if (broker.host.empty()) {
    throw BadInput(table.place("host"), "names no broker", "a name or an address");
  }
  if (table.has("ca_file")) {
    broker.ca_file = file_in(table, "ca_file", folder);
    broker.ca_place = table.place("ca_file");
  }
  broker.port = table.integer_or("port", broker.ca_file.empty() ? plain_port : tls_port,
                                 {.at_least = 1, .at_most = 65535});
  if (table.has("password")) {
    throw BadInput(table.place("password"), "is a password in a file that is copied into every run",
                   "password_file = \"...\", a file that only its owner reads");
  }
  if (table.has("password_file")) {
    if (broker.user.empty()) {
      throw BadInput(table.place("password_file"), "is there without a user", "user = \"...\" too");
    }
    broker.password_file = file_in(table, "password_file", folder);
    broker.password_place = table.place("password_file");
  }
  broker.timeout_s = table.number_or("timeout_s", 2.0, {.at_least = 0.01, .at_most = 60.0});
  return broker;
}

std::string password_of(const MqttBroker& broker) {
  if (broker.password_file.empty()) return {};
  require_file(broker.password_file, broker.password_place);
  const std::string text = base::text_of_file(broker.password_file);
  const std::string password = text.substr(0, text.find_first_of("\r\n"));
  if (password.empty()) {
    throw BadInput(broker.password_place,
                   fmt::format("the first line of '{}' is empty", broker.password_file.string()),
                   "the password in the first line");
  }
  return password;
}

void require_ca_file(const MqttBroker& broker) {
  if (!broker.ca_file.empty()) require_file(broker.ca_file, broker.ca_place);
}

std::string topic_in(const Settings& table, std::string_view key) {
  std::string topic = table.text(key);
  if (!is_topic(topic)) {
    throw BadInput(table.place(key), fmt::format("'{}' is not one topic", topic),
                   "a name such as \"bench/air_speed\", without + and # and not beginning with $");
  }
  return topic;
}

std::string topic_level_in(const Settings& table, std::string_view key) {
  std::string level = table.text(key);
  if (!is_topic(level) || level.find('/') != std::string::npos) {
    throw BadInput(table.place(key), fmt::format("'{}' is not one level of a topic", level),
                   "a name such as \"bench-a\", without /, + and # and not beginning with $");
  }
  return level;
}

}  // namespace windwright::bench
