// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/publish_table.h"
#include "devices/connection.h"
#include "devices/mqtt_client.h"

#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::publishing {

/// Brings messages to a broker that may be slow or away. Of a topic that is kept (retained) only
/// the newest payload counts: what the broker has not taken when the next comes is replaced. What
/// is told is sent in order, at least once, as long as no more than 256 wait. A lost connection is
/// made anew, ever more slowly up to every 2 s, and everything kept is sent again. One thread.
class Post {
 public:
  /// What comes at the will's topic: this program's own payloads, and those of another that uses
  /// it too. From within `attend` and `leave`.
  using Hear = std::function<void(std::string_view payload)>;

  /// Does not connect yet. @param hear  may be empty; not called where the broker lets nobody read
  Post(const bench::PublishDescription& described, devices::MqttWill will, Hear hear = {},
       devices::SteadyClock clock = {});

  void keep(const std::string& topic, std::string payload);
  void tell(const std::string& topic, std::string payload);
  /// Connects where it is time for that, sends, takes acknowledgements; waits for nothing but, at
  /// most for the broker's timeout, a connection.
  void attend();
  /// Goes on with that until all is acknowledged or the broker is away or `longest_s` has passed;
  /// then takes leave.
  void leave(double longest_s);

  /// The broker is there, and has not taken yet what was kept last.
  bool is_behind() const;
  std::int64_t acknowledged() const { return acknowledged_; }  // messages
  /// What somebody should know, one line each: outages, what was not sent.
  std::vector<std::string> remarks() const;

 private:
  using Time = devices::SteadyClock::Time;
  struct Letter {
    std::string topic;
    std::string payload;
    bool due = true;  // not sent as it is
    std::optional<int> sent;
    Time sent_at;
  };

  void connect();
  void send_due();
  void send(Letter& letter, bool retained);
  void take_acknowledgements();
  bool is_overdue(const Letter& letter) const;
  void lost(const std::string& cause);
  bool done() const;
  double since_s(Time time) const;

  const bench::PublishDescription described_;
  const devices::MqttWill will_;
  Hear hear_;
  devices::SteadyClock clock_;
  std::unique_ptr<devices::MqttClient> client_;
  std::vector<Letter> kept_;  // in the order of their first payload
  std::deque<Letter> told_;

  Time next_try_;
  std::chrono::milliseconds pause_{0};
  Time away_since_;
  double away_s_ = 0.0;
  bool ever_connected_ = false;
  std::int64_t outages_ = 0;
  std::string last_cause_;
  std::int64_t acknowledged_ = 0;
  std::int64_t replaced_ = 0;
  std::int64_t left_out_ = 0;  // of what was told
};

}  // namespace windwright::publishing
