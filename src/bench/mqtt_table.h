// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/instrument_tables.h"
#include "bench/mqtt_broker.h"

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// Live values from and to an MQTT broker.
struct MqttDevice {
  struct Topic {
    std::string topic;
    std::string member;  // JSON pointer (RFC 6901) into the payload; empty: it is a number
    NumberMeaning meaning;
  };
  struct Command {
    std::string topic;  // empty: the actuator is changed by hand
    CommandText payload;
  };
  MqttBroker broker;
  std::string presence_topic;     // where this program says whether it is there; may be empty
  std::string alive_topic;        // where the instrument says so; may be empty
  std::vector<Topic> channels;    // as the bench has them
  std::vector<Command> commands;  // as the bench has its actuators
  double stale_s;                 // an older value is none
  double longest_outage_s;        // without a sample: a fault
};

/// What [device], every [channel.device] and every [actuator.device] say.
/// @throws BadInput  with file and line
MqttDevice mqtt_device(const base::Settings& root, const base::Settings& device,
                       const std::filesystem::path& folder);

}  // namespace windwright::bench
