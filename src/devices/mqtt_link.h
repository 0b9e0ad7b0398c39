// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/mqtt_table.h"
#include "devices/connection.h"
#include "devices/link.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

namespace windwright::devices {

/// Live values from an MQTT broker. A sample holds the last value of every channel; where one of
/// them is older than stale_s, or the instrument's last will has come, there is no sample. A value
/// that the broker had kept (retained) is not fresh, whenever it was sent, and what waited unread
/// for longer than stale_s is not either. Commands go out at least once (QoS 1), never retained: a
/// command must not be given again to whoever connects later.
/// Source: OASIS MQTT 3.1.1, sections 3.3.1.3 (retain), 4.3.2 (QoS 1), 3.1.2.5 (will).
class MqttLink final : public Link {
 public:
  /// Connects, leaves a last will at presence_topic, and subscribes.
  /// @throws LinkLost     no broker, or refused
  /// @throws DeviceFault  the broker does not let this user in
  MqttLink(const bench::Bench& bench, const bench::MqttDevice& described, SteadyClock clock = {});
  ~MqttLink() override;
  MqttLink(const MqttLink&) = delete;
  MqttLink& operator=(const MqttLink&) = delete;

  void read(std::span<std::int32_t> counts) override;
  void set(std::size_t actuator, double value) override;

 private:
  struct Client;
  std::unique_ptr<Client> client_;
};

}  // namespace windwright::devices
