// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/conductor.h"
#include "twin/simulated_bench.h"

#include <filesystem>
#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

// The simulated bench with something in between: notes what is commanded, and lets a test change
// blocks or fail.
class WatchedBench final : public bench::Device {
 public:
  explicit WatchedBench(const bench::Bench& bench)
      : bench_(bench), device_(bench, twin::Pace::as_fast_as_possible) {}

  const std::string& name() const override { return device_.name(); }
  double sample_rate_hz() const override { return device_.sample_rate_hz(); }
  base::UtcTime now() const override { return device_.now(); }
  void set(std::string_view actuator, double value) override {
    commands.emplace_back(actuator, value);
    speed_at_command.push_back(device_.truth().at("rotor_speed_rad_s"));
    device_.set(actuator, value);
    state[std::string(actuator)] = value;
  }
  void apply_known_input(std::string_view channel, double value) override {
    device_.apply_known_input(channel, value);
  }
  void remove_known_input() override { device_.remove_known_input(); }
  void read(bench::SampleBlock& block) override {
    device_.read(block);
    ++reads;
    if (on_read) on_read(block);
  }
  void stop() noexcept override {
    device_.stop();
    stopped = true;
    state["fan_pct"] = 0.0;
  }
  std::string bookmark() const override { return device_.bookmark(); }
  void return_to(std::string_view bookmark) override { device_.return_to(bookmark); }

  std::map<std::string, double> truth() const { return device_.truth(); }

  std::vector<std::pair<std::string, double>> commands;
  std::vector<double> speed_at_command;
  std::map<std::string, double> state;
  std::function<void(bench::SampleBlock&)> on_read;
  int reads = 0;
  bool stopped = false;

 private:
  const bench::Bench& bench_;
  twin::SimulatedBench device_;
};

inline ConductOptions into(const std::filesystem::path& folder) {
  return {.into = folder,
          .resume = false,
          .reason = {},
          .software_version = "test",
          .progress = {},
          .stop = {}};
}

}  // namespace windwright::campaign
