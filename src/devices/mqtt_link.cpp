// SPDX-License-Identifier: Apache-2.0
#include "devices/mqtt_link.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"
#include "devices/counts.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <mosquitto.h>
#include <poll.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <exception>
#include <functional>
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

constexpr int at_least_once = 1;
constexpr int keepalive_s = 10;  // a broker that is silent for 1.5 times as long is gone
constexpr std::string_view here = "1";
constexpr std::string_view gone = "0";

// The library is made ready once, and taken down when the program ends.
void prepare_library() {
  struct Library {
    Library() { mosquitto_lib_init(); }
    ~Library() { mosquitto_lib_cleanup(); }
  };
  static const Library library;
}

void require(int result, std::string_view what) {
  if (result == MOSQ_ERR_SUCCESS) return;
  const char* why = result == MOSQ_ERR_ERRNO ? std::strerror(errno) : mosquitto_strerror(result);
  throw LinkLost(fmt::format("{}: {}", what, why));
}

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
  std::unique_ptr<mosquitto, decltype(&mosquitto_destroy)> handle{nullptr, &mosquitto_destroy};
  std::vector<Value> values;
  SteadyClock::Time heard;   // when the broker last sent something
  SteadyClock::Time served;  // when messages were last looked for
  bool late = false;         // what is being read waited for longer than stale_s
  bool instrument_gone = false;
  std::optional<int> connected;  // with the broker's answer
  std::set<int> acknowledged;    // messages and subscriptions
  int refused_subscriptions = 0;
  std::optional<int> disconnected;

  std::string address() const {
    return fmt::format("broker {}:{}", described.broker.host, described.broker.port);
  }

  void open();
  void leave_will();
  void let_in();
  void subscribe();
  void serve(double longest_s);
  void take(const mosquitto_message& message);
  void publish(const std::string& topic, std::string_view payload, bool retained);
  void wait_for_acknowledgement(int id, std::string_view what);
  void require_broker() const;
  bool wait(double longest_s, const std::function<bool()>& done);
};

void MqttLink::Client::leave_will() {
  if (described.presence_topic.empty()) return;
  require(mosquitto_will_set(handle.get(), described.presence_topic.c_str(),
                             static_cast<int>(gone.size()), gone.data(), at_least_once, true),
          "last will");
}

void MqttLink::Client::let_in() {
  if (!described.user.empty()) {
    std::string password;
    if (!described.password_file.empty()) {
      password = base::text_of_file(described.password_file);
      password.erase(password.find_last_not_of("\r\n") + 1);
    }
    require(mosquitto_username_pw_set(handle.get(), described.user.c_str(), password.c_str()),
            "user");
  }
  if (!described.ca_file.empty()) {
    require(mosquitto_tls_set(handle.get(), described.ca_file.c_str(), nullptr, nullptr, nullptr,
                              nullptr),
            "ca_file");
  }
}

void MqttLink::Client::open() {
  prepare_library();
  handle.reset(mosquitto_new(nullptr, true, this));
  if (!handle) throw LinkLost("no memory for a connection");
  leave_will();
  let_in();
  mosquitto_connect_callback_set(handle.get(), [](mosquitto*, void* self, int answer) {
    static_cast<Client*>(self)->connected = answer;
  });
  mosquitto_disconnect_callback_set(handle.get(), [](mosquitto*, void* self, int reason) {
    static_cast<Client*>(self)->disconnected = reason;
  });
  mosquitto_publish_callback_set(handle.get(), [](mosquitto*, void* self, int id) {
    static_cast<Client*>(self)->acknowledged.insert(id);
  });
  mosquitto_subscribe_callback_set(handle.get(), [](mosquitto*, void* self, int id, int count,
                                                    const int* granted) {
    constexpr int refused = 0x80;
    auto& client = *static_cast<Client*>(self);
    client.acknowledged.insert(id);
    client.refused_subscriptions += static_cast<int>(std::count(granted, granted + count, refused));
  });
  mosquitto_message_callback_set(handle.get(),
                                 [](mosquitto*, void* self, const mosquitto_message* message) {
                                   static_cast<Client*>(self)->take(*message);
                                 });
  served = heard = clock.now();
  require(mosquitto_connect_async(handle.get(), described.broker.host.c_str(),
                                  described.broker.port, keepalive_s),
          address());
  if (!wait(described.timeout_s, [&] { return connected.has_value(); }))
    throw LinkLost(address() + ": no answer to the connection");
  if (*connected != 0) {
    throw base::DeviceFault(address(), mosquitto_connack_string(*connected),
                            "user and password_file in [device]");
  }
  subscribe();
  if (!described.presence_topic.empty()) publish(described.presence_topic, here, true);
}

void MqttLink::Client::subscribe() {
  std::set<std::string> topics;
  for (const auto& channel : described.channels)
    topics.insert(channel.topic);
  if (!described.alive_topic.empty()) topics.insert(described.alive_topic);
  for (const std::string& topic : topics) {
    int id = 0;
    require(mosquitto_subscribe(handle.get(), &id, topic.c_str(), 0), topic);
    wait_for_acknowledgement(id, topic);
  }
  if (refused_subscriptions > 0) {
    throw base::DeviceFault(address(), "does not let this user read the channels' topics",
                            "the broker's list of rights");
  }
}

// Sends and takes what there is, waiting no longer than this for the first of it.
void MqttLink::Client::serve(double longest_s) {
  const std::chrono::duration<double> unserved = clock.now() - served;
  late = unserved.count() > described.stale_s;
  const int socket = mosquitto_socket(handle.get());
  if (socket < 0 || disconnected) throw LinkLost(address() + ": the connection is gone");
  const short events =
      static_cast<short>(POLLIN | (mosquitto_want_write(handle.get()) ? POLLOUT : 0));
  pollfd waiting{.fd = socket, .events = events, .revents = 0};
  int wait_ms = static_cast<int>(longest_s * 1e3);
  // One packet at a time, and no more than a peer can send in a while without end.
  constexpr int most_packets = 10'000;
  for (int i = 0; i < most_packets && ::poll(&waiting, 1, wait_ms) > 0; ++i) {
    if ((waiting.revents & POLLOUT) != 0) require(mosquitto_loop_write(handle.get(), 1), address());
    if ((waiting.revents & ~POLLOUT) != 0) {
      require(mosquitto_loop_read(handle.get(), 1), address());
      heard = clock.now();
    }
    waiting.events = POLLIN;
    waiting.revents = 0;
    wait_ms = 0;
  }
  require(mosquitto_loop_misc(handle.get()), address());
  served = clock.now();
}

// A connection that is open on this side only gives nothing and tells nothing; a new one shows.
void MqttLink::Client::require_broker() const {
  const std::chrono::duration<double> silent = clock.now() - heard;
  if (silent.count() <= described.stale_s + described.timeout_s) return;
  throw LinkLost(fmt::format("{}: sent nothing for {:.3g} s", address(), silent.count()));
}

bool MqttLink::Client::wait(double longest_s, const std::function<bool()>& done) {
  constexpr double step_s = 0.05;
  const auto begun = std::chrono::steady_clock::now();
  while (!done()) {
    const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - begun;
    if (passed.count() > longest_s) return false;
    serve(std::min(step_s, longest_s));
  }
  return true;
}

void MqttLink::Client::wait_for_acknowledgement(int id, std::string_view what) {
  if (!wait(described.timeout_s, [&] { return acknowledged.contains(id); })) {
    throw LinkLost(fmt::format("{}: '{}' was not acknowledged within {:g} s", address(), what,
                               described.timeout_s));
  }
  acknowledged.erase(id);
}

void MqttLink::Client::publish(const std::string& topic, std::string_view payload, bool retained) {
  int id = 0;
  require(mosquitto_publish(handle.get(), &id, topic.c_str(), static_cast<int>(payload.size()),
                            payload.data(), at_least_once, retained),
          topic);
  wait_for_acknowledgement(id, topic);
}

void MqttLink::Client::take(const mosquitto_message& message) {
  const std::string_view topic(message.topic);
  const std::string_view payload(static_cast<const char*>(message.payload),
                                 static_cast<std::size_t>(message.payloadlen));
  // A state holds until the next one, so that it may be a retained one.
  if (topic == described.alive_topic) instrument_gone = base::trimmed(payload) == gone;
  if (message.retain || late) return;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const auto& channel = described.channels[i];
    if (channel.topic != topic) continue;
    const auto number = number_of(payload, channel.member);
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
  Client& client = *client_;
  if (!client.handle || client.disconnected) return;
  try {
    if (!client.described.presence_topic.empty())
      client.publish(client.described.presence_topic, gone, true);
  } catch (const std::exception&) {
    return;  // then the will says it
  }
  mosquitto_disconnect(client.handle.get());
}

void MqttLink::read(std::span<std::int32_t> counts) {
  Client& client = *client_;
  client.serve(0.0);
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
  client_->publish(topic, command_for(payload, value), false);
}

}  // namespace windwright::devices
