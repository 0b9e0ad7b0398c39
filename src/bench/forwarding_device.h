// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/device.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

/// Passes everything on to another device, which outlives it: for what stands before one and
/// changes or overhears some of it.
class ForwardingDevice : public Device {
 public:
  explicit ForwardingDevice(Device& device) : device_(device) {}

  const std::string& name() const override { return device_.name(); }
  double sample_rate_hz() const override { return device_.sample_rate_hz(); }
  base::UtcTime now() const override { return device_.now(); }
  void set(std::string_view actuator, double value) override { device_.set(actuator, value); }
  void apply_known_input(std::string_view channel, double value) override {
    device_.apply_known_input(channel, value);
  }
  void remove_known_input() override { device_.remove_known_input(); }
  void ask_for(HandAction action) override { device_.ask_for(action); }
  std::optional<double> setting(std::string_view actuator) override {
    return device_.setting(actuator);
  }
  void read(SampleBlock& block) override { device_.read(block); }
  void stop() noexcept override { device_.stop(); }
  std::vector<std::string> remarks() const override { return device_.remarks(); }
  std::string bookmark() const override { return device_.bookmark(); }
  void return_to(std::string_view bookmark) override { device_.return_to(bookmark); }

 protected:
  Device& device_;
};

}  // namespace windwright::bench
