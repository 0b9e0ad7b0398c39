// SPDX-License-Identifier: Apache-2.0
#include "devices/guard_link.h"

#include "base/errors.h"
#include "bench/device_table.h"
#include "bench/safe_state.h"
#include "devices/byte_stream.h"
#include "devices/link.h"
#include "devices/modbus_link.h"
#include "devices/scpi_link.h"

#include <fmt/format.h>

#include <chrono>
#include <cstddef>
#include <exception>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

namespace windwright::devices {
namespace {

using Clock = std::chrono::steady_clock;
constexpr std::chrono::seconds once_more_within{2};
constexpr std::chrono::milliseconds longest_feed{50};  // that is waited for

struct Command {
  std::optional<std::size_t> actuator;  // nothing: what the instrument can do by itself
  double value;
};

std::vector<Command> safe_state_of(const bench::Bench& bench) {
  std::vector<Command> commands{{.actuator = {}, .value = 0.0}};
  const auto add = [&](std::string_view name, const auto& value) {
    for (std::size_t i = 0; i < bench.actuators.size(); ++i) {
      const bench::Actuator& actuator = bench.actuators[i];
      if (!actuator.manual && actuator.name == name) commands.push_back({i, value(actuator)});
    }
  };
  for (const std::string_view name : bench::switched_off)
    add(name, [](const bench::Actuator&) { return 0.0; });
  add(bench::load_selector, bench::loaded_position);
  return commands;
}

class SecondConnection final : public GuardLink {
 public:
  /// @throws DeviceFault  it cannot be reached
  SecondConnection(const bench::Bench& bench, std::string name, Connect connect)
      : safe_state_(safe_state_of(bench)), name_(std::move(name)), connect_(std::move(connect)) {
    try {
      link_ = connect_();
    } catch (const LinkLost& lost) {
      throw base::DeviceFault(name_, lost.what(),
                              "that it is switched on, takes a second connection, and its address "
                              "in [device]");
    }
  }

  const std::string& name() const override { return name_; }

  std::optional<std::string> make_safe() noexcept override {
    std::unique_lock lock(busy_, longest_feed);
    if (!lock) {
      std::unique_ptr<Link> of_its_own;
      if (!command_safe_state(of_its_own)) return std::nullopt;
      lock.lock();
    }
    return command_safe_state(link_);
  }

  std::optional<std::string> feed() noexcept override {
    const std::lock_guard lock(busy_);
    for (int attempt = 0;; ++attempt) {
      try {
        if (!link_) link_ = connect_();
        link_->feed();
        return std::nullopt;
      } catch (const std::exception& failure) {
        link_.reset();
        if (attempt > 0) return failure.what();
      }
    }
  }

 private:
  std::optional<std::string> command_safe_state(std::unique_ptr<Link>& link) noexcept {
    const Clock::time_point begun = Clock::now();
    Round first = command(link, safe_state_);
    if (first.left.empty() || Clock::now() - begun > once_more_within) return first.failure;
    const Round second = command(link, first.left);
    return first.refused ? first.failure : second.failure;
  }

  struct Round {
    std::vector<Command> left;                // not known to be done
    std::optional<std::string> failure = {};  // the first
    bool refused = false;                     // that was the instrument's word
  };
  Round command(std::unique_ptr<Link>& link, const std::vector<Command>& commands) noexcept {
    Round round;
    bool reachable = true;
    for (const Command& wanted : commands) {
      try {
        if (reachable && !link) {
          reachable = false;
          link = connect_();
          reachable = true;
        }
        if (reachable && wanted.actuator) link->set(*wanted.actuator, wanted.value);
        if (reachable && !wanted.actuator) link->make_safe();
      } catch (const std::exception& failure) {
        // What is refused is not asked for again.
        const bool refused = link && dynamic_cast<const base::DeviceFault*>(&failure) != nullptr;
        if (!round.failure) {
          round.failure = failure.what();
          round.refused = refused;
        }
        if (refused) continue;
        link.reset();
        round.left.push_back(wanted);
        continue;
      }
      if (!reachable) round.left.push_back(wanted);
    }
    return round;
  }

  std::vector<Command> safe_state_;
  std::string name_;
  Connect connect_;
  std::timed_mutex busy_;  // the connection: who feeds may wait long for an answer
  std::unique_ptr<Link> link_;
};

struct Open {
  const bench::Bench& bench;

  std::unique_ptr<GuardLink> operator()(const bench::ModbusTcpDevice& described) const {
    return std::make_unique<SecondConnection>(
        bench, fmt::format("modbus {} port {}", described.host, described.port),
        modbus_guard_connector(bench, described));
  }
  std::unique_ptr<GuardLink> operator()(const bench::ScpiDevice& described) const {
    if (!std::holds_alternative<bench::TcpAddress>(described.endpoint)) return nullptr;
    const auto connect = [&the_bench = bench, &described]() -> std::unique_ptr<Link> {
      return std::make_unique<ScpiLink>(the_bench, described,
                                        open_stream(described.endpoint, described.timeout_s));
    };
    return std::make_unique<SecondConnection>(
        bench, "instrument at " + endpoint_text(described.endpoint), connect);
  }
  template <typename Other>
  std::unique_ptr<GuardLink> operator()(const Other& /*described*/) const {
    return nullptr;
  }
};

}  // namespace

std::unique_ptr<GuardLink> guard_link_over(const bench::Bench& bench, std::string name,
                                           Connect connect) {
  return std::make_unique<SecondConnection>(bench, std::move(name), std::move(connect));
}

std::unique_ptr<GuardLink> open_guard_link(const bench::Bench& bench) {
  return std::visit(Open{.bench = bench}, bench.device);
}

}  // namespace windwright::devices
