// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/forwarding_device.h"
#include "bench/safe_state.h"
#include "publishing/publisher.h"

#include <string_view>

namespace windwright::publishing {

/// A device whose blocks and commands a publisher hears of; for whoever drives it, the same device.
class OverheardDevice final : public bench::ForwardingDevice {
 public:
  /// All three outlive it.
  OverheardDevice(const bench::Bench& bench, bench::Device& device, Publisher& publisher)
      : ForwardingDevice(device), bench_(bench), publisher_(publisher) {}

  void set(std::string_view actuator, double value) override {
    device_.set(actuator, value);
    publisher_.commanded(bench_.actuator(actuator), value);
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

 private:
  const bench::Bench& bench_;
  Publisher& publisher_;
};

}  // namespace windwright::publishing
