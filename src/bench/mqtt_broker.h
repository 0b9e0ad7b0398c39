// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// An MQTT broker and who this program is to it.
struct MqttBroker {
  std::string host = {};
  int port = 1883;
  std::string user = {};                     // empty: none asked for
  std::filesystem::path password_file = {};  // its first line; empty: a user without password
  std::string password_place = {};           // `file:line` of the key, for complaints
  std::filesystem::path ca_file = {};  // certificates of who vouches for the broker; empty: no TLS
  std::string ca_place = {};
  double timeout_s = 2.0;  // of connecting, and of an acknowledgement
};

/// `host:port`, for messages.
std::string broker_text(const MqttBroker& broker);

/// Keys host, port (1883, with ca_file 8883: the ports registered for MQTT), user, password_file,
/// ca_file, timeout_s of a table. The two files are from the bench's folder or absolute, and are
/// looked for when they are needed: a run can be read where they are not.
/// @throws BadInput  with file and line
MqttBroker mqtt_broker(const base::Settings& table, const std::filesystem::path& folder);

/// The password; empty where no file is named.
/// @throws BadInput  with file and line: no such file, or nothing in it
std::string password_of(const MqttBroker& broker);
/// @throws BadInput  with file and line: ca_file is named, and not there
void require_ca_file(const MqttBroker& broker);

/// One whole topic.
/// Source: OASIS MQTT 3.1.1, sections 1.5.3 (control characters) and 4.7 (wildcards belong to
/// subscriptions of many topics, a name that begins with $ to the broker itself).
/// @throws BadInput  with file and line
std::string topic_in(const base::Settings& table, std::string_view key);
/// One level of a topic, so without a slash.
std::string topic_level_in(const base::Settings& table, std::string_view key);

}  // namespace windwright::bench
