// SPDX-License-Identifier: Apache-2.0
#include "devices/mqtt_link.h"

#include "base/text.h"
#include "devices/counts.h"
#include "devices/mqtt_client.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <memory>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

constexpr std::string_view here = "1";
constexpr std::string_view gone = "0";

/// The number that a payload holds; nothing: it holds none.
std::optional<double> number_of(std::string_view payload, const std::string& member) {
  if (member.empty()) return base::number_from_text(payload);
  boost::system::error_code error;
  const boost::json::value document = boost::json::parse(payload, error);
  if (error) return std::nullopt;
  const boost::json::value* found = document.find_pointer(member, error);
  if (found == nullptr || !found->is_number()) return std::nullopt;
  return found->to_number<double>();
}

}  // namespace

struct MqttLink::Client {
  struct Value {
    std::optional<std::int32_t> count;
    SteadyClock::Time came;
  };

  Client(const bench::Bench& the_bench, const bench::MqttDevice& the_described,
         SteadyClock the_clock)
      : bench(the_bench),
        described(the_described),
        clock(std::move(the_clock)),
        values(bench.channels.size()) {}

  const bench::Bench& bench;
  const bench::MqttDevice& described;
  SteadyClock clock;
  std::vector<Value> values;
  bool instrument_gone = false;
  std::unique_ptr<MqttClient> mqtt;

  void open();
  void take(const MqttMessage& message);
  void require_broker() const;
};

void MqttLink::Client::open() {
  mqtt = std::make_unique<MqttClient>(
      described.broker, MqttWill{.topic = described.presence_topic, .payload = std::string(gone)},
      [this](const MqttMessage& message) { take(message); }, clock);
  std::set<std::string> topics;
  for (const auto& channel : described.channels)
    topics.insert(channel.topic);
  if (!described.alive_topic.empty()) topics.insert(described.alive_topic);
  mqtt->subscribe({topics.begin(), topics.end()});
  if (!described.presence_topic.empty()) mqtt->publish(described.presence_topic, here, true);
}

// A connection that is open on this side only gives nothing and tells nothing; a new one shows.
void MqttLink::Client::require_broker() const {
  const double silent_s = mqtt->silent_s();
  if (silent_s <= described.stale_s + described.broker.timeout_s) return;
  throw LinkLost(
      fmt::format("{}: sent nothing for {:.3g} s", bench::broker_text(described.broker), silent_s));
}

void MqttLink::Client::take(const MqttMessage& message) {
  // A state holds until the next one, so that it may be a retained one.
  if (message.topic == described.alive_topic)
    instrument_gone = base::trimmed(message.payload) == gone;
  if (message.retained || message.waited_s > described.stale_s) return;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto& channel = described.channels[i];
    if (channel.topic != message.topic) continue;
    const auto number = number_of(message.payload, channel.member);
    values[i] = {.count = number ? count_of(bench.channels[i].converter, channel.meaning, *number)
                                 : std::nullopt,
                 .came = clock.now()};
  }
}

MqttLink::MqttLink(const bench::Bench& bench, const bench::MqttDevice& described, SteadyClock clock)
    : client_(std::make_unique<Client>(bench, described, std::move(clock))) {
  client_->open();
}

// Whoever leaves in order says so; the will is for all other ways.
MqttLink::~MqttLink() {
  const std::string& topic = client_->described.presence_topic;
  try {
    if (!topic.empty()) client_->mqtt->publish(topic, gone, true);
    client_->mqtt->leave();
  } catch (const std::exception&) {
    // Then the will says it.
  }
}

void MqttLink::read(std::span<std::int32_t> counts) {
  Client& client = *client_;
  client.mqtt->serve(0.0);
  if (client.instrument_gone)
    throw SampleMissed(client.described.alive_topic + " says that the instrument is gone");
  const auto now = client.clock.now();
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const Client::Value& value = client.values[i];
    const std::string& topic = client.described.channels[i].topic;
    const std::chrono::duration<double> age = now - value.came;
    if (value.count && age.count() <= client.described.stale_s) {
      counts[i] = *value.count;
      continue;
    }
    client.require_broker();
    if (!value.count) throw SampleMissed(topic + " has given no number yet");
    throw SampleMissed(fmt::format("{} has given nothing for {:.3g} s", topic, age.count()));
  }
}

void MqttLink::set(std::size_t actuator, double value) {
  const auto& [topic, payload] = client_->described.commands[actuator];
  client_->mqtt->publish(topic, command_for(payload, value), false);
}

}  // namespace windwright::devices
