// SPDX-License-Identifier: Apache-2.0
// Against a broker and clients that nobody here wrote: mosquitto, mosquitto_pub, mosquitto_sub.
#include "devices/mqtt_link.h"

#include "base/errors.h"
#include "devices/instrument_bench.h"
#include "devices/name_server.h"
#include "devices/polled_device.h"

#include <arpa/inet.h>
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <random>
#include <string>
#include <thread>
#include <vector>

extern char** environ;

namespace windwright::devices {
namespace {

using namespace std::chrono_literals;

sockaddr_in loopback(int port) {
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  address.sin_port = htons(static_cast<std::uint16_t>(port));
  return address;
}

int connected(int port) {
  const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  const sockaddr_in address = loopback(port);
  if (::connect(socket, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0)
    return socket;
  ::close(socket);
  return -1;
}

/// A socket that listens at a free port of this computer.
int listening(int& port) {
  const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address = loopback(0);
  socklen_t size = sizeof address;
  EXPECT_EQ(::bind(socket, reinterpret_cast<const sockaddr*>(&address), size), 0);
  EXPECT_EQ(::listen(socket, 8), 0);
  ::getsockname(socket, reinterpret_cast<sockaddr*>(&address), &size);
  port = ntohs(address.sin_port);
  return socket;
}

/// A broker at a free port, open to this computer only.
class Broker {
 public:
  Broker() {
    ::close(listening(port_));
    start();
  }
  ~Broker() { kill(); }
  Broker(const Broker&) = delete;
  Broker& operator=(const Broker&) = delete;

  static bool there() {
    return std::system("command -v mosquitto_pub > /dev/null 2>&1") == 0 &&
           (::access("/usr/sbin/mosquitto", X_OK) == 0);
  }
  int port() const { return port_; }
  void start() {
    const std::string number = std::to_string(port_);
    const char* words[] = {"/usr/sbin/mosquitto", "-p", number.c_str(), nullptr};
    posix_spawn_file_actions_t quiet;
    posix_spawn_file_actions_init(&quiet);
    posix_spawn_file_actions_addopen(&quiet, 2, "/dev/null", 1, 0);
    ASSERT_EQ(
        ::posix_spawn(&process_, words[0], &quiet, nullptr, const_cast<char**>(words), environ), 0);
    posix_spawn_file_actions_destroy(&quiet);
    for (int i = 0; i < 3000; ++i) {
      const int socket = connected(port_);
      if (socket >= 0) {
        ::close(socket);
        return;
      }
      std::this_thread::sleep_for(5ms);
    }
    FAIL() << "the broker does not start";
  }
  void kill() {
    if (process_ <= 0) return;
    ::kill(process_, SIGKILL);
    ::waitpid(process_, nullptr, 0);
    process_ = 0;
  }
  void publish(const std::string& arguments) const {
    EXPECT_EQ(
        std::system(fmt::format("mosquitto_pub -h 127.0.0.1 -p {} {}", port_, arguments).c_str()),
        0);
  }
  /// What mosquitto_sub prints of one topic until it has this many messages.
  FILE* listen(const std::string& topic, int messages) const {
    return ::popen(
        fmt::format("mosquitto_sub -h 127.0.0.1 -p {} -t {} -C {} -W 20 -v", port_, topic, messages)
            .c_str(),
        "r");
  }

 private:
  int port_ = 0;
  pid_t process_ = 0;
};

std::string all_of(FILE* pipe) {
  std::string text;
  for (int letter = std::fgetc(pipe); letter != EOF; letter = std::fgetc(pipe))
    text += static_cast<char>(letter);
  ::pclose(pipe);
  return text;
}

bench::MqttDevice described(int port) {
  bench::MqttDevice mqtt{};
  mqtt.broker = {.host = "127.0.0.1", .port = port};
  mqtt.presence_topic = "bench/driver";
  mqtt.alive_topic = "bench/alive";
  mqtt.channels = {{.topic = "bench/air", .member = "", .meaning = {}},
                   {.topic = "bench/rotor", .member = "/speed/volts", .meaning = {}}};
  mqtt.commands = {{.topic = "bench/fan", .payload = {.text = "{value}", .values = {}}},
                   {.topic = "bench/load",
                    .payload = {.text = "{{\"on\": {value}}", .values = {"false", "true"}}}};
  mqtt.commands[1].payload.text = "{\"on\": {value}}";
  mqtt.stale_s = 5.0;
  mqtt.broker.timeout_s = 5.0;
  mqtt.longest_outage_s = 20.0;
  return mqtt;
}

std::string missed(MqttLink& link) {
  std::array<std::int32_t, 2> counts{};
  try {
    link.read(counts);
  } catch (const SampleMissed& why) {
    return why.what();
  }
  return {};
}

/// Reads until there is a sample.
std::array<std::int32_t, 2> sample_of(MqttLink& link) {
  std::array<std::int32_t, 2> counts{};
  for (int i = 0; i < 4000; ++i) {
    try {
      link.read(counts);
      return counts;
    } catch (const SampleMissed&) {
      std::this_thread::sleep_for(5ms);
    }
  }
  ADD_FAILURE() << "no sample";
  return counts;
}

TEST(MqttLink, TakesFreshNumbersAndNoneThatTheBrokerKept) {
  if (!Broker::there()) GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const Broker broker;
  broker.publish("-t bench/air -m 7.5 -r");
  const bench::Bench bench = instrument_bench();
  const bench::MqttDevice mqtt = described(broker.port());
  SteadyClock::Time time{1000h};
  MqttLink link(bench, mqtt, SteadyClock{.now = [&] { return time; }, .sleep_until = {}});
  broker.publish("-t bench/rotor -m '{\"speed\": {\"volts\": 2.5}}'");
  // The kept value came before the other one, and is none.
  for (int i = 0; i < 4000 && missed(link) != "bench/air has given no number yet"; ++i)
    std::this_thread::sleep_for(5ms);
  EXPECT_EQ(missed(link), "bench/air has given no number yet");
  broker.publish("-t bench/air -m 5");
  EXPECT_EQ(sample_of(link), (std::array<std::int32_t, 2>{32768, 16384}));
  // An old value is none, and what waited too long is not fresh.
  time += 4s;
  EXPECT_EQ(missed(link), "");
  time += 2s;
  EXPECT_EQ(missed(link), "bench/air has given nothing for 6 s");
  for (const char* payload : {"nan", "x", "''", "5,0"}) {
    broker.publish("-t bench/rotor -m '{\"speed\": {\"volts\": 1}}'");
    broker.publish(std::string("-t bench/air -m ") + payload);
    for (int i = 0; i < 4000 && missed(link) != "bench/air has given no number yet"; ++i)
      std::this_thread::sleep_for(5ms);
    EXPECT_EQ(missed(link), "bench/air has given no number yet") << payload;
  }
}

TEST(MqttLink, TheInstrumentsLastWillEndsItsValues) {
  if (!Broker::there()) GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const Broker broker;
  const bench::Bench bench = instrument_bench();
  const bench::MqttDevice mqtt = described(broker.port());
  MqttLink link(bench, mqtt);
  broker.publish("-t bench/alive -m 1 -r");
  broker.publish("-t bench/air -m 5");
  broker.publish("-t bench/rotor -m '{\"speed\": {\"volts\": 2.5}}'");
  sample_of(link);
  broker.publish("-t bench/alive -m 0 -r");
  for (int i = 0; i < 4000 && missed(link).empty(); ++i)
    std::this_thread::sleep_for(5ms);
  EXPECT_EQ(missed(link), "bench/alive says that the instrument is gone");
}

TEST(MqttLink, CommandsReachASubscriberAndPresenceIsTold) {
  if (!Broker::there()) GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const Broker broker;
  const bench::Bench bench = instrument_bench();
  const bench::MqttDevice mqtt = described(broker.port());
  // Retained presence: whoever comes later sees it too, and so knows that it is subscribed.
  FILE* presence = nullptr;
  {
    MqttLink link(bench, mqtt);
    presence = broker.listen("bench/#", 5);
    std::array<char, 100> line{};
    ASSERT_NE(std::fgets(line.data(), line.size(), presence), nullptr);
    EXPECT_STREQ(line.data(), "bench/driver 1\n");
    link.set(0, 62.5);
    link.set(1, 1.0);
    link.set(0, 0.0);
  }
  EXPECT_EQ(all_of(presence),
            "bench/fan 62.5\nbench/load {\"on\": true}\nbench/fan 0\nbench/driver 0\n");
  // Nothing but the presence is kept for who comes later.
  FILE* kept = broker.listen("bench/#", 2);
  std::array<char, 100> line{};
  ASSERT_NE(std::fgets(line.data(), line.size(), kept), nullptr);
  EXPECT_STREQ(line.data(), "bench/driver 0\n");
  broker.publish("-t bench/end -m 1");
  EXPECT_EQ(all_of(kept), "bench/end 1\n");
}

TEST(MqttLink, SaysWhyThereIsNoBroker) {
  int port = 0;
  const int socket = listening(port);
  const bench::Bench bench = instrument_bench();
  bench::MqttDevice mqtt = described(port);
  mqtt.broker.timeout_s = 0.1;
  EXPECT_THROW(MqttLink(bench, mqtt), LinkLost);  // somebody who never answers
  ::close(socket);
  EXPECT_THROW(MqttLink(bench, mqtt), LinkLost);
}

TEST(MqttLink, WaitsNoLongerForANameThanForAnAnswer) {
  const SilentNameServer nobody;
  const bench::Bench bench = instrument_bench();
  bench::MqttDevice mqtt = described(1883);
  mqtt.broker.host = SilentNameServer::host;
  mqtt.broker.timeout_s = 0.03;
  try {
    const MqttLink link(bench, mqtt);
    FAIL() << "connected to nobody";
  } catch (const LinkLost& lost) {
    EXPECT_STREQ(lost.what(), "host bench.silent.invalid: its name was not looked up in time");
  }
}

/// Carries bytes between a client and the broker, until told to cut, to hold, or to add garbage.
class Forwarder {
 public:
  explicit Forwarder(int broker_port) : broker_port_(broker_port), listener_(listening(port_)) {
    thread_ = std::jthread([this](const std::stop_token& stop) { run(stop); });
  }
  ~Forwarder() {
    thread_.request_stop();
    thread_.join();
    ::close(listener_);
  }
  Forwarder(const Forwarder&) = delete;
  Forwarder& operator=(const Forwarder&) = delete;
  enum class Trouble { none, cut, garbage, hold };
  int port() const { return port_; }
  void make(Trouble trouble) { trouble_ = trouble; }
  bool done() const { return trouble_ == Trouble::none; }

 private:
  void run(const std::stop_token& stop) {
    while (!stop.stop_requested()) {
      pollfd waiting{.fd = listener_, .events = POLLIN, .revents = 0};
      if (::poll(&waiting, 1, 20) <= 0) continue;
      const int client = ::accept4(listener_, nullptr, nullptr, SOCK_CLOEXEC);
      const int broker = connected(broker_port_);
      carry(client, broker, stop);
      ::close(client);
      if (broker >= 0) ::close(broker);
    }
  }
  void carry(int client, int broker, const std::stop_token& stop) {
    std::array<char, 4096> bytes{};
    while (!stop.stop_requested() && broker >= 0) {
      const Trouble trouble = trouble_;
      if (trouble == Trouble::garbage) {
        // Packet type 0 is forbidden (OASIS MQTT 3.1.1, table 2.1).
        ::send(client, "\x00\x03\xff\xff\xff\x7f\x01", 7, MSG_NOSIGNAL);
        trouble_ = Trouble::none;
      }
      if (trouble == Trouble::cut) {
        trouble_ = Trouble::none;
        return;
      }
      pollfd both[] = {{.fd = client, .events = POLLIN, .revents = 0},
                       {.fd = broker, .events = POLLIN, .revents = 0}};
      if (::poll(both, 2, 5) <= 0) continue;
      for (int i = 0; i < 2; ++i) {
        if (both[i].revents == 0) continue;
        const ssize_t count =
            ::read(both[i].fd, bytes.data(), trouble_ == Trouble::hold ? 1 : 4096);
        if (count <= 0) return;
        if (trouble == Trouble::hold) continue;  // half-open: taken, and never handed on
        ::send(both[1 - i].fd, bytes.data(), static_cast<std::size_t>(count), MSG_NOSIGNAL);
      }
    }
  }

  int broker_port_;
  int port_ = 0;
  int listener_;
  std::atomic<Trouble> trouble_ = Trouble::none;
  std::jthread thread_;
};

TEST(MqttLink, CutFiftyTimesItComesBackWithEveryGapRecorded) {
  if (!Broker::there()) GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const Broker broker;
  Forwarder forwarder(broker.port());
  bench::Bench bench = instrument_bench();
  bench.block_s = 0.02;
  bench::MqttDevice mqtt = described(forwarder.port());
  mqtt.alive_topic.clear();
  mqtt.channels[0] = {.topic = "bench/rotor", .member = "/air", .meaning = {}};
  PolledDevice device(bench, {.name = "broker",
                              .connect = [&]() -> std::unique_ptr<Link> {
                                return std::make_unique<MqttLink>(bench, mqtt);
                              },
                              .ask = {},
                              .longest_outage_s = mqtt.longest_outage_s});
  FILE* publisher = ::popen(
      fmt::format("mosquitto_pub -h 127.0.0.1 -p {} -t bench/rotor -l", broker.port()).c_str(),
      "w");
  ASSERT_NE(publisher, nullptr);
  std::jthread publishing([&](const std::stop_token& stop) {
    while (!stop.stop_requested()) {
      std::fputs("{\"air\": 5, \"speed\": {\"volts\": 2.5}}\n", publisher);
      std::fflush(publisher);
      std::this_thread::sleep_for(5ms);
    }
  });
  std::mt19937 random(8);
  bench::SampleBlock block;
  std::int64_t next = 0;
  int gaps = 0;
  for (int trouble = 0; trouble < 50; ++trouble) {
    forwarder.make(random() % 4 == 0 ? Forwarder::Trouble::garbage : Forwarder::Trouble::cut);
    const int gaps_before = gaps;
    while (!forwarder.done() || gaps == gaps_before) {
      device.read(block);
      EXPECT_EQ(block.gap_before, block.first_sample != next);
      if (block.gap_before) ++gaps;
      for (const std::int32_t count : block.channel(0))
        ASSERT_EQ(count, 32768);
      next = block.first_sample + static_cast<std::int64_t>(block.samples);
    }
  }
  EXPECT_GE(gaps, 50);
  publishing.request_stop();
  publishing.join();
  ::pclose(publisher);
}

TEST(MqttLink, AHalfOpenConnectionIsNoSample) {
  if (!Broker::there()) GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const Broker broker;
  Forwarder forwarder(broker.port());
  const bench::Bench bench = instrument_bench();
  bench::MqttDevice mqtt = described(forwarder.port());
  mqtt.broker.timeout_s = 0.3;
  mqtt.stale_s = 0.3;
  MqttLink link(bench, mqtt);
  broker.publish("-t bench/air -m 5");
  broker.publish("-t bench/rotor -m '{\"speed\": {\"volts\": 2.5}}'");
  forwarder.make(Forwarder::Trouble::hold);
  for (int i = 0; i < 4000 && missed(link).empty(); ++i)
    std::this_thread::sleep_for(5ms);
  EXPECT_NE(missed(link), "");
  EXPECT_THROW(link.set(0, 50.0), LinkLost);
  // Who asks again and again gets a new connection, long before the keep-alive finds out.
  EXPECT_THROW(
      {
        for (int i = 0; i < 600; ++i) {
          missed(link);
          std::this_thread::sleep_for(5ms);
        }
      },
      LinkLost);
}

}  // namespace
}  // namespace windwright::devices
