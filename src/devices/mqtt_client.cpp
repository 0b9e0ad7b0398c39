// SPDX-License-Identifier: Apache-2.0
#include "devices/mqtt_client.h"

#include "base/errors.h"
#include "bench/mqtt_broker.h"
#include "devices/tcp_connection.h"

#include <fmt/format.h>
#include <mosquitto.h>
#include <poll.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdint>
#include <cstring>
#include <functional>
#include <memory>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

constexpr int at_least_once = 1;
constexpr int keepalive_s = 10;  // a broker that is silent for 1.5 times as long is gone

// The library is made ready once, and taken down when the program ends.
void prepare_library() {
  struct Library {
    Library() { mosquitto_lib_init(); }
    ~Library() { mosquitto_lib_cleanup(); }
  };
  static const Library library;
}

// At most 23 letters and digits are taken by every broker (section 3.1.3.1).
std::string identifier(const std::string& topic) {
  static const auto process = std::random_device()();
  return fmt::format("ww{:08x}{:08x}", process,
                     static_cast<std::uint32_t>(std::hash<std::string>()(topic)));
}

}  // namespace

struct MqttClient::State {
  State(const bench::MqttBroker& the_broker, Take the_take, SteadyClock the_clock)
      : broker(the_broker), taker(std::move(the_take)), clock(std::move(the_clock)) {}

  const bench::MqttBroker broker;
  Take taker;
  SteadyClock clock;
  std::unique_ptr<mosquitto, decltype(&mosquitto_destroy)> handle{nullptr, &mosquitto_destroy};
  SteadyClock::Time heard;       // when the broker last sent something
  SteadyClock::Time served;      // when messages were last looked for
  double waited_s = 0.0;         // what is being read may have lain here for so long
  std::optional<int> connected;  // with the broker's answer
  std::set<int> acknowledged;    // messages and subscriptions
  int refused_subscriptions = 0;
  std::optional<int> disconnected;

  std::string address() const { return bench::broker_text(broker); }
  void require(int result, std::string_view what) const;
  void leave_will(const MqttWill& will);
  void let_in();
  void listen();
  void open(const MqttWill& will);
  void serve(double longest_s);
  bool wait(const std::function<bool()>& done);
  void wait_for_acknowledgement(int id, std::string_view what);
};

void MqttClient::State::require(int result, std::string_view what) const {
  if (result == MOSQ_ERR_SUCCESS) return;
  if (result == MOSQ_ERR_TLS) {
    throw LinkLost(
        fmt::format("{}: no trust: its certificate is not one that ca_file vouches for, or not of "
                    "this name; or it does not speak TLS",
                    what));
  }
  const char* why = result == MOSQ_ERR_ERRNO ? std::strerror(errno) : mosquitto_strerror(result);
  throw LinkLost(fmt::format("{}: {}", what, why));
}

void MqttClient::State::leave_will(const MqttWill& will) {
  if (will.topic.empty()) return;
  require(
      mosquitto_will_set(handle.get(), will.topic.c_str(), static_cast<int>(will.payload.size()),
                         will.payload.data(), at_least_once, true),
      "last will");
}

void MqttClient::State::let_in() {
  if (!broker.user.empty()) {
    const std::string password = bench::password_of(broker);
    require(mosquitto_username_pw_set(handle.get(), broker.user.c_str(),
                                      password.empty() ? nullptr : password.c_str()),
            "user");
  }
  if (broker.ca_file.empty()) return;
  bench::require_ca_file(broker);
  require(
      mosquitto_tls_set(handle.get(), broker.ca_file.c_str(), nullptr, nullptr, nullptr, nullptr),
      "ca_file");
}

void MqttClient::State::listen() {
  mosquitto_connect_callback_set(handle.get(), [](mosquitto*, void* self, int answer) {
    static_cast<State*>(self)->connected = answer;
  });
  mosquitto_disconnect_callback_set(handle.get(), [](mosquitto*, void* self, int reason) {
    static_cast<State*>(self)->disconnected = reason;
  });
  mosquitto_publish_callback_set(handle.get(), [](mosquitto*, void* self, int id) {
    static_cast<State*>(self)->acknowledged.insert(id);
  });
  mosquitto_subscribe_callback_set(handle.get(), [](mosquitto*, void* self, int id, int count,
                                                    const int* granted) {
    constexpr int refused = 0x80;
    auto& state = *static_cast<State*>(self);
    state.acknowledged.insert(id);
    state.refused_subscriptions += static_cast<int>(std::count(granted, granted + count, refused));
  });
  mosquitto_message_callback_set(
      handle.get(), [](mosquitto*, void* self, const mosquitto_message* message) {
        const auto& state = *static_cast<State*>(self);
        if (!state.taker) return;
        state.taker({.topic = message->topic,
                     .payload = {static_cast<const char*>(message->payload),
                                 static_cast<std::size_t>(message->payloadlen)},
                     .retained = message->retain,
                     .waited_s = state.waited_s});
      });
}

void MqttClient::State::open(const MqttWill& will) {
  prepare_library();
  const std::string id = identifier(will.topic);
  handle.reset(mosquitto_new(will.topic.empty() ? nullptr : id.c_str(), true, this));
  if (!handle) throw LinkLost("no memory for a connection");
  leave_will(will);
  let_in();
  listen();
  require_known_host({.host = broker.host, .port = broker.port}, broker.timeout_s);
  served = heard = clock.now();
  require(mosquitto_connect_async(handle.get(), broker.host.c_str(), broker.port, keepalive_s),
          address());
  if (!wait([&] { return connected.has_value(); }))
    throw LinkLost(address() + ": no answer to the connection");
  if (*connected != 0) {
    throw base::DeviceFault(address(), mosquitto_connack_string(*connected),
                            "user and password_file of this broker in the bench's file");
  }
}

void MqttClient::State::serve(double longest_s) {
  waited_s = std::chrono::duration<double>(clock.now() - served).count();
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
      const int result = mosquitto_loop_read(handle.get(), 1);
      if (result == MOSQ_ERR_CONN_REFUSED && connected.value_or(0) != 0) return;  // open says why
      require(result, address());
      heard = clock.now();
    }
    waiting.events = POLLIN;
    waiting.revents = 0;
    wait_ms = 0;
  }
  require(mosquitto_loop_misc(handle.get()), address());
  served = clock.now();
}

bool MqttClient::State::wait(const std::function<bool()>& done) {
  constexpr double step_s = 0.05;
  const auto begun = std::chrono::steady_clock::now();
  while (!done()) {
    const std::chrono::duration<double> passed = std::chrono::steady_clock::now() - begun;
    if (passed.count() > broker.timeout_s) return false;
    serve(std::min(step_s, broker.timeout_s));
  }
  return true;
}

void MqttClient::State::wait_for_acknowledgement(int id, std::string_view what) {
  if (!wait([&] { return acknowledged.contains(id); })) {
    throw LinkLost(fmt::format("{}: '{}' was not acknowledged within {:g} s", address(), what,
                               broker.timeout_s));
  }
  acknowledged.erase(id);
}

MqttClient::MqttClient(const bench::MqttBroker& broker, const MqttWill& will, Take take,
                       SteadyClock clock)
    : state_(std::make_unique<State>(broker, std::move(take), std::move(clock))) {
  state_->open(will);
}

MqttClient::~MqttClient() = default;

void MqttClient::leave() {
  if (!state_->disconnected) mosquitto_disconnect(state_->handle.get());
}

void MqttClient::subscribe(const std::vector<std::string>& topics) {
  for (const std::string& topic : topics) {
    int id = 0;
    state_->require(mosquitto_subscribe(state_->handle.get(), &id, topic.c_str(), 0), topic);
    state_->wait_for_acknowledgement(id, topic);
  }
  if (state_->refused_subscriptions > 0) {
    throw base::DeviceFault(state_->address(), "does not let this user read the topics asked for",
                            "the broker's list of rights");
  }
}

int MqttClient::send(const std::string& topic, std::string_view payload, bool retained) {
  int id = 0;
  state_->require(
      mosquitto_publish(state_->handle.get(), &id, topic.c_str(), static_cast<int>(payload.size()),
                        payload.data(), at_least_once, retained),
      topic);
  return id;
}

void MqttClient::publish(const std::string& topic, std::string_view payload, bool retained) {
  state_->wait_for_acknowledgement(send(topic, payload, retained), topic);
}

bool MqttClient::is_acknowledged(int id) {
  return state_->acknowledged.erase(id) > 0;
}

void MqttClient::serve(double longest_s) {
  state_->serve(longest_s);
}

double MqttClient::silent_s() const {
  return std::chrono::duration<double>(state_->clock.now() - state_->heard).count();
}

}  // namespace windwright::devices
