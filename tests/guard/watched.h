// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"
#include "guard/acquisition_layer.h"
#include "guard/acquisition_watch.h"
#include "guard/configuration.h"
#include "guard/guard_watch.h"
#include "guard/stop_logic.h"
#include "guard/tap.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {

using bench::SampleBlock;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

/// A device without a bench behind it: notes what is commanded.
class Commanded final : public bench::Device {
 public:
  const std::string& name() const override { return name_; }
  double sample_rate_hz() const override { return 1000.0; }
  base::UtcTime now() const override { return {}; }
  void set(std::string_view actuator, double value) override {
    if (on_set) on_set();
    commands.push_back(fmt::format("{} {:g}", actuator, value));
    if (actuator == "fan_pct") fan = value;
  }
  void apply_known_input(std::string_view /*channel*/, double /*value*/) override {}
  void remove_known_input() override {}
  void read(bench::SampleBlock& /*block*/) override {}
  void stop() noexcept override {
    fan = 0.0;
    commands.emplace_back("safe state");
  }

  std::vector<std::string> commands;
  std::function<void()> on_set;
  double fan = 0.0;

 private:
  std::string name_ = "device";
};

inline Trip trip_of(int category, const std::string& cause) {
  return {.interlock = cause, .stop_category = category, .cause = cause, .check = {}, .time = {}};
}

/// Both processes in one, each with its layer, and a clock that the test turns. A block above 1000
/// counts is a violation to the guard's own judge; a rotor turns as fast as the last block says.
class Watched : public testing::Test {
 protected:
  Watched() {
    bench_.file = fresh_folder() / "bench.toml";
    bench_.text = "one";
    bench_.sample_rate_hz = 1000.0;
    bench_.block_s = 0.01;
    bench_.channels.resize(2);
    bench_.actuators.push_back({.name = "fan_pct",
                                .long_name = {},
                                .lowest = 0.0,
                                .highest = 100.0,
                                .manual = false,
                                .positions = {},
                                .u_setting = 0.0});
    bench_.guard = {.required = true, .silence_s = 0.05};
    Tap::remove(tap_name(bench_));
  }
  ~Watched() override { Tap::remove(tap_name(bench_)); }

  Judge judge() {
    ++judges_;
    // shared: the functions of one judge have one memory
    auto last = std::make_shared<std::optional<std::int32_t>>();
    return {.judge = [this, last](const SampleBlock& block) -> std::optional<Trip> {
              *last = block.counts.front();
              if (**last > 1000) return trip_of(category_, "above 1000 counts");
              return std::nullopt;
            },
            .standing = [this, last]() -> std::vector<std::string> {
              if (!*last) return {};
              return **last > 1000 ? std::vector<std::string>{"counts"} : standing_;
            },
            .followers = [this] { return followers_; },
            .rotor_speed_rad_s = [last] { return static_cast<double>(last->value_or(0)); }};
  }
  /// @param times  of asking
  Command command(int& times) {
    auto outcome = std::make_shared<Outcome>();  // shared: both functions know it
    return {.ask = [&times] { return static_cast<std::uint64_t>(++times); },
            .outcome =
                [this, &times, outcome] {
                  if (answers_ && outcome->number < static_cast<std::uint64_t>(times)) {
                    outcome->number = static_cast<std::uint64_t>(times);
                    outcome->failure =
                        way_is_gone_ ? std::optional<std::string>("no route") : std::nullopt;
                  }
                  return *outcome;
                }};
  }
  void start_guard(const std::string& tripped = {}) {
    std::optional<Tap> tap =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::guard, configuration_of(bench_));
    ASSERT_TRUE(tap);
    guard_ = std::make_unique<GuardWatch>(
        std::move(*tap),
        GuardOptions{.silence_s = bench_.guard.silence_s,
                     .configuration = configuration_of(bench_),
                     .tripped = tripped,
                     .longest_stop_s = 5.0},
        [this] { return judge(); },
        has_own_way_ ? OwnWay{.make_safe = command(made_safe_), .feed = command(fed_)} : OwnWay{},
        [this](std::string_view event, const std::string& text) {
          told_.push_back(std::string(event) + ": " + text);
        });
    guard_->look(now_);
  }
  /// At rest.
  void start_acquisition() {
    layer_.reset();
    looker_.reset();
    acquisition_ = std::make_unique<AcquisitionWatch>(bench_);
    acquisition_->begin(now_);
    layer_ = std::make_unique<AcquisitionLayer>(
        bench_, device_, AcquisitionLayer::Options{.other = other_layer(), .longest_stop_s = 5.0});
  }
  OtherLayer other_layer() {
    return {.ask_to_run =
                [this](const Words& own) {
                  std::optional<std::string> why;
                  for (int i = 0; i < 3; ++i) {
                    acquisition_->tell(own, {}, now_);
                    pass(1);
                    if (guard_) guard_->look(now_);
                    why = acquisition_->runs_not(now_);
                    if (!why) break;
                  }
                  return why;
                },
            .look =
                [this](const SampleBlock& block, const Words& own, const std::string& cause) {
                  return acquisition_->look(block, own, cause, now_);
                },
            .tell = [this](const Words& own,
                           const std::string& cause) { acquisition_->tell(own, cause, now_); }};
  }
  /// Driven, with the guard's consent.
  void drive() {
    start_acquisition();
    block(0);
    ASSERT_EQ(layer_->start({}), std::nullopt);
    layer_->set("fan_pct", 50.0);
  }
  /// Of the demo's kind, before the processes begin.
  void add_load_selector(bool manual) {
    bench_.actuators.push_back({.name = "load_selector",
                                .long_name = {},
                                .lowest = 0.0,
                                .highest = 2.0,
                                .manual = manual,
                                .positions = {"none", "rheostat", "lamps"},
                                .u_setting = 0.0});
  }
  /// Driven for a while, and ended in order.
  void drive_to_the_end() {
    drive();
    run_ms(100);
    layer_->ask_end();
    go_on_ms(100, 0);
    end_acquisition();
  }
  void end_acquisition() {
    layer_.reset();
    acquisition_.reset();
  }
  /// Another one, which has the guard's consent and drives.
  Tap other_acquisition() {
    std::optional<Tap> tap =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    EXPECT_TRUE(tap);
    tap->beat(now_, {.activity = Activity::standing});
    tap->write(block_of(100));
    guard_->look(now_);
    tap->beat(now_, {.activity = Activity::running});
    guard_->look(now_);
    EXPECT_EQ(guard_->state(), State::running);
    beat_driving(*tap);
    return std::move(*tap);
  }
  void beat_driving(Tap& tap) {
    tap.beat(now_, {.activity = Activity::running, .state = State::running, .driven = true});
    guard_->look(now_);
  }
  void pass(int ms) { now_ += milliseconds(ms); }
  static SampleBlock block_of(std::int32_t count) {
    SampleBlock block;
    block.fill(std::vector<std::int32_t>(20, count), 2);
    return block;
  }
  AcquisitionLayer::Step block(std::int32_t count, const std::optional<Trip>& trip = std::nullopt) {
    return layer_->look(block_of(count), trip, count);
  }
  /// What the acquisition finds, of the first cause.
  std::string cause_at(std::int32_t count, const std::optional<Trip>& trip = std::nullopt) {
    const AcquisitionLayer::Step step = block(count, trip);
    return step.trip ? step.trip->cause : std::string();
  }
  /// Both sides as they should be, a block every 10 ms.
  void run_ms(int ms) {
    for (int i = 0; i < ms; i += 10) {
      pass(10);
      ASSERT_EQ(cause_at(100), "");
      guard_->look(now_);
    }
  }
  /// The same whatever comes, with the rotor as fast as told.
  void go_on_ms(int ms, std::int32_t count) {
    for (int i = 0; i < ms; i += 10) {
      pass(10);
      block(count);
      guard_->look(now_);
    }
  }
  /// No acquisition is there.
  void go_on_alone_ms(int ms) {
    for (int i = 0; i < ms; i += 10) {
      guard_->look(now_);
      pass(10);
    }
  }
  std::string answer_to_reset(const std::string& reason) {
    const auto number = Tap::ask_reset(tap_name(bench_), reason);
    guard_->look(now_);
    return number ? Tap::answer_to_reset(tap_name(bench_), *number).value_or("no answer")
                  : "no guard";
  }
  /// As `windwright guard --reset` does before it asks.
  void look_at_the_bench(std::int32_t count) {
    end_acquisition();
    guard_->look(now_);
    looker_.reset();
    guard_->look(now_);
    looker_ =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    ASSERT_TRUE(looker_);
    looker_->beat(now_, {.activity = Activity::standing});
    guard_->look(now_);
    looker_->write(block_of(count));
    guard_->look(now_);
  }
  std::string refusal() {
    looker_.reset();
    try {
      start_acquisition();
    } catch (const base::DeviceFault& fault) {
      end_acquisition();
      return fault.what();
    }
    return {};
  }

  bench::Bench bench_{};
  // Beyond what the acquisition's destructor takes from the real clock.
  Instant now_ = steady_clock::now();
  Commanded device_;
  std::unique_ptr<GuardWatch> guard_;
  std::unique_ptr<AcquisitionWatch> acquisition_;
  std::unique_ptr<AcquisitionLayer> layer_;
  std::optional<Tap> looker_;
  std::vector<std::string> told_;
  int category_ = 0;                   // of the guard's own interlock
  std::vector<std::string> standing_;  // of its interlocks, below 1000 counts
  std::string followers_;              // of the first cause
  int judges_ = 0;
  int made_safe_ = 0;
  int fed_ = 0;
  bool has_own_way_ = true;
  bool way_is_gone_ = false;
  bool answers_ = true;  // the device, to the guard
};

}  // namespace windwright::guard
