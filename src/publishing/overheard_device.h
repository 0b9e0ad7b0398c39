// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/safe_state.h"
#include "publishing/publisher.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::publishing {

/// A device whose blocks and commands a publisher hears of; for whoever drives it, the same device.
class OverheardDevice final : public bench::Device {
 public:
  /// All three outlive it.
  OverheardDevice(const bench::Bench& bench, bench::Device& device, Publisher& publisher)
      : bench_(bench), device_(device), publisher_(publisher) {}

  const std::string& name() const override { return device_.name(); }
  double sample_rate_hz() const override { return device_.sample_rate_hz(); }
  base::UtcTime now() const override { return device_.now(); }
  void set(std::string_view actuator, double value) override {
    device_.set(actuator, value);
    publisher_.commanded(bench_.actuator(actuator), value);
  }
  void apply_known_input(std::string_view channel, double value) override {
    device_.apply_known_input(channel, value);
  }
  void remove_known_input() override { device_.remove_known_input(); }
  void ask_for(bench::HandAction action) override { device_.ask_for(action); }
  std::optional<double> setting(std::string_view actuator) override {
    return device_.setting(actuator);
  }
  void read(bench::SampleBlock& block) override {
    device_.read(block);
    publisher_.hear(block);
  }
  void stop() noexcept override {
    device_.stop();
    for (const bench::Actuator& actuator : bench_.actuators) {
      if (bench::is_switched_off(actuator.name)) publisher_.commanded(actuator, 0.0);
    }
  }
  std::vector<std::string> remarks() const override { return device_.remarks(); }
  std::string bookmark() const override { return device_.bookmark(); }
  void return_to(std::string_view bookmark) override { device_.return_to(bookmark); }

 private:
  const bench::Bench& bench_;
  bench::Device& device_;
  Publisher& publisher_;
};

}  // namespace windwright::publishing
