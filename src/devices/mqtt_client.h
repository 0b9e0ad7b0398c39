// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/mqtt_broker.h"
#include "devices/connection.h"
#include "devices/link.h"

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

struct MqttMessage {
  std::string_view topic;
  std::string_view payload;
  bool retained;    // the broker had kept it from earlier
  double waited_s;  // at most so long it lay unread here
};

/// What the broker keeps at one topic when this program is gone without having said so.
struct MqttWill {
  std::string topic;  // empty: none
  std::string payload;
};

/// One connection to an MQTT broker, used by one thread. Everything is sent at least once (QoS 1);
/// nothing happens but within a call. The broker's certificate is checked against ca_file, and that
/// it was made out to the host's name. Connections of one process with the same will follow each
/// other under one client identifier: a broker that still believes in the one before sends its will
/// before it answers the new one, never after.
/// Source: OASIS MQTT 3.1.1, sections 3.1.2.5 (will), 3.1.4 (an identifier that is there already),
/// 3.3.1.3 (retain), 4.3.2 (QoS 1).
class MqttClient {
 public:
  using Take = std::function<void(const MqttMessage&)>;

  /// Connects. @param take  what comes, from within the calls below; may be empty
  /// @throws LinkLost     no broker, no answer, no trust
  /// @throws DeviceFault  the broker does not let this user in
  /// @throws BadInput     a file that the broker's table names
  MqttClient(const bench::MqttBroker& broker, const MqttWill& will, Take take,
             SteadyClock clock = {});
  /// Goes without leave: the broker sends the will.
  ~MqttClient();
  MqttClient(const MqttClient&) = delete;
  MqttClient& operator=(const MqttClient&) = delete;

  /// @throws LinkLost     not acknowledged in time
  /// @throws DeviceFault  one of them this user may not read
  void subscribe(const std::vector<std::string>& topics);
  /// Sends, and waits until the broker has it. @throws LinkLost
  void publish(const std::string& topic, std::string_view payload, bool retained);
  /// Sends without waiting. @return  what is_acknowledged knows it by. @throws LinkLost
  int send(const std::string& topic, std::string_view payload, bool retained);
  /// Once true, the message is forgotten.
  bool is_acknowledged(int id);
  /// Sends and takes what there is, waiting no longer than this for the first of it.
  /// @throws LinkLost
  void serve(double longest_s);
  /// Takes leave, so that the will is not sent. Nothing can be done with it any more.
  void leave();
  /// Since the broker last sent something.
  double silent_s() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace windwright::devices
