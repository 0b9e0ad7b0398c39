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

#include <cstddef>
#include <exception>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace windwright::devices {
namespace {

class SecondConnection final : public GuardLink {
 public:
  /// @throws DeviceFault  it cannot be reached
  SecondConnection(const bench::Bench& bench, std::string name, Connect connect)
      : bench_(bench), name_(std::move(name)), connect_(std::move(connect)) {
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
    std::optional<std::string> refused;
    const auto lost = twice([&] { refused = command_safe_state(); });
    return lost ? lost : refused;
  }

  std::optional<std::string> feed() noexcept override {
    return twice([this] { link_->feed(); });
  }

 private:
  template <typename Action>
  std::optional<std::string> twice(Action action) noexcept {
    for (int attempt = 0;; ++attempt) {
      try {
        if (!link_) link_ = connect_();
        action();
        return std::nullopt;
      } catch (const std::exception& failure) {
        link_.reset();
        if (attempt > 0) return failure.what();
      }
    }
  }

  // What is refused does not keep the rest from being switched.
  std::optional<std::string> command_safe_state() {
    std::optional<std::string> refused;
    const auto set = [&](std::size_t actuator, double value) {
      try {
        link_->set(actuator, value);
      } catch (const base::DeviceFault& refusal) {
        if (!refused) refused = refusal.what();
      }
    };
    for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
      const bench::Actuator& actuator = bench_.actuators[i];
      if (!actuator.manual && bench::is_switched_off(actuator.name)) set(i, 0.0);
    }
    for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
      const bench::Actuator& actuator = bench_.actuators[i];
      if (!actuator.manual && actuator.name == bench::load_selector)
        set(i, actuator.position("rheostat").value_or(1.0));
    }
    return refused;
  }

  const bench::Bench& bench_;
  std::string name_;
  Connect connect_;
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

std::unique_ptr<GuardLink> open_guard_link(const bench::Bench& bench) {
  return std::visit(Open{.bench = bench}, bench.device);
}

}  // namespace windwright::devices
