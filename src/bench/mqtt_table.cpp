// SPDX-License-Identifier: Apache-2.0
#include "bench/mqtt_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/instrument_tables.h"
#include "bench/mqtt_broker.h"

#include <fmt/format.h>

#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

std::string optional_topic(const Settings& table, std::string_view key) {
  return table.has(key) ? topic_in(table, key) : std::string();
}

MqttDevice::Topic read_topic(const Settings& table, const Settings& device) {
  MqttDevice::Topic topic{.topic = topic_in(table, "topic"),
                          .member = table.text_or("member", ""),
                          .meaning = read_meaning(table, device)};
  if (!topic.member.empty() && !topic.member.starts_with('/')) {
    throw BadInput(
        table.place("member"), fmt::format("'{}' is not a JSON pointer", topic.member),
        fmt::format("\"/{}\": names from the outermost on, each after a /", topic.member));
  }
  return topic;
}

}  // namespace

MqttDevice mqtt_device(const Settings& root, const Settings& device,
                       const std::filesystem::path& folder) {
  MqttDevice mqtt{};
  mqtt.broker = mqtt_broker(device, folder);
  mqtt.presence_topic = optional_topic(device, "presence_topic");
  mqtt.alive_topic = optional_topic(device, "alive_topic");
  for (const Settings& table : channel_tables(root))
    mqtt.channels.push_back(read_topic(table, device));
  const std::vector<CommandText> payloads = read_commands(root, "{value}");
  const std::vector<Settings> actuators = root.tables("actuator");
  for (std::size_t i = 0; i < actuators.size(); ++i) {
    const auto table = actuators[i].optional_table("device");
    mqtt.commands.push_back(
        {.topic = table ? topic_in(*table, "topic") : std::string(), .payload = payloads[i]});
  }
  mqtt.stale_s = device.number("stale_s", {.at_least = 0.01, .at_most = 3600.0});
  // A value is looked at once a sample; what waits for longer than it may be old cannot be judged.
  const double shortest_s = 1.5 / root.table("bench").number("sample_rate_hz");
  if (mqtt.stale_s < shortest_s) {
    throw BadInput(device.place("stale_s"), "is shorter than the time between two samples",
                   fmt::format("at least {:.3g} s, 1.5 samples", shortest_s));
  }
  mqtt.longest_outage_s =
      device.number_or("longest_outage_s", 10.0, {.at_least = 1.0, .at_most = 3600.0});
  return mqtt;
}

}  // namespace windwright::bench
