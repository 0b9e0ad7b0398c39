// SPDX-License-Identifier: Apache-2.0
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

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

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
  double fan = 0.0;

 private:
  std::string name_ = "device";
};

Trip trip_of(int category, const std::string& cause) {
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
    auto last = std::make_shared<std::int32_t>(0);
    return {.judge = [this, last](const SampleBlock& block) -> std::optional<Trip> {
              *last = block.counts.front();
              if (*last > 1000) return trip_of(category_, "above 1000 counts");
              return std::nullopt;
            },
            .standing =
                [last] {
                  return *last > 1000 ? std::vector<std::string>{"counts"}
                                      : std::vector<std::string>();
                },
            .rotor_speed_rad_s = [last] { return static_cast<double>(*last); }};
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
        OwnWay{.make_safe =
                   [this] {
                     ++made_safe_;
                     return way_is_gone_ ? std::optional<std::string>("no route") : std::nullopt;
                   },
               .feed =
                   [this] {
                     ++fed_;
                     return way_is_gone_ ? std::optional<std::string>("no route") : std::nullopt;
                   }},
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
                  acquisition_->tell(own, {}, now_);
                  if (guard_) guard_->look(now_);
                  return acquisition_->runs_not(now_);
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
    ASSERT_EQ(layer_->start({}), std::nullopt);
    layer_->set("fan_pct", 50.0);
  }
  void end_acquisition() {
    layer_.reset();
    acquisition_.reset();
  }
  void pass(int ms) { now_ += milliseconds(ms); }
  AcquisitionLayer::Step block(std::int32_t count, const std::optional<Trip>& trip = std::nullopt) {
    SampleBlock block;
    block.fill(std::vector<std::int32_t>(20, count), 2);
    return layer_->look(block, trip, count);
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
    SampleBlock block;
    block.fill(std::vector<std::int32_t>(20, count), 2);
    looker_->beat(now_, {.activity = Activity::standing});
    guard_->look(now_);
    looker_->write(block);
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
  int category_ = 0;  // of the guard's own interlock
  int judges_ = 0;
  int made_safe_ = 0;
  int fed_ = 0;
  bool way_is_gone_ = false;
};

TEST_F(Watched, NothingTripsWhileBothAreContent) {
  start_guard();
  drive();
  run_ms(10'000);
  layer_->ask_end();
  go_on_ms(100, 100);
  EXPECT_EQ(layer_->state(), State::safe);
  EXPECT_EQ(guard_->state(), State::safe);
  end_acquisition();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(made_safe_, 0);
  EXPECT_EQ(told_, (std::vector<std::string>{"acquisition: has begun", "acquisition: has ended"}));
  EXPECT_EQ(device_.commands, (std::vector<std::string>{"fan_pct 50", "fan_pct 0"}));
}

TEST_F(Watched, TheGuardIsTheFirstToRun) {
  start_guard();
  start_acquisition();
  EXPECT_THROW(layer_->set("fan_pct", 50.0), std::logic_error);
  guard_->look(now_);
  EXPECT_EQ(guard_->state(), State::safe);
  ASSERT_EQ(layer_->start({}), std::nullopt);
  EXPECT_EQ(guard_->state(), State::running);
  EXPECT_EQ(layer_->state(), State::running);
}

TEST_F(Watched, NothingStartsWhileAnInterlockStands) {
  start_guard();
  start_acquisition();
  EXPECT_EQ(layer_->start({"cover"}), "not started while it stands: cover");
  EXPECT_FALSE(permits_fan(layer_->state()));
  // Nor where only the guard knows.
  category_ = 2;
  block(2000);
  guard_->look(now_);
  block(100);
  EXPECT_EQ(layer_->start({}), "the guard process: above 1000 counts");
}

TEST_F(Watched, ABenchThatRequiresAGuardIsNotDrivenWithoutIt) {
  EXPECT_EQ(refusal(),
            "the guard: is not running, and this bench is not driven without it "
            "([guard] required): start `windwright guard " +
                bench_.file.string() + "` in another terminal");
  bench_.guard.required = false;
  drive();
  EXPECT_EQ(cause_at(100), "");
}

TEST_F(Watched, TheGuardStopsTheBenchPastASilentAcquisition) {
  start_guard();
  drive();
  run_ms(100);
  pass(49);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 0);
  pass(2);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "the acquisition process has been silent for 51 ms");
  // Awake again it finds that it may not go on, and commands nothing but the safe state.
  EXPECT_EQ(cause_at(100), "the guard process: the acquisition process has been silent for 51 ms");
  EXPECT_EQ(device_.commands.back(), "safe state");
  EXPECT_EQ(layer_->state(), State::tripped);
}

TEST_F(Watched, TheGuardStopsTheBenchWhenTheAcquisitionDies) {
  start_guard();
  {
    // What a killed process leaves: its last heartbeat, and no lock.
    std::optional<Tap> killed =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    killed->beat(now_, {.activity = Activity::running, .state = State::running, .driven = true});
    guard_->look(now_);
    EXPECT_EQ(made_safe_, 0);
  }
  pass(1);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "the acquisition process died");
}

TEST_F(Watched, AnAcquisitionKilledBeforeTheGuardBeganIsNothingToIt) {
  {
    std::optional<Tap> killed =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    killed->beat(now_, {.activity = Activity::running, .state = State::running, .driven = true});
  }
  start_guard();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, TheAcquisitionStopsTheBenchWhenTheGuardIsSilent) {
  start_guard();
  drive();
  run_ms(100);
  pass(50);
  EXPECT_EQ(cause_at(100), "");
  pass(10);
  EXPECT_EQ(cause_at(100), "the guard process has been silent for 60 ms");
  EXPECT_EQ(device_.commands.back(), "safe state");
  guard_->look(now_);  // which says so to the guard
  EXPECT_EQ(guard_->tripped(),
            "the acquisition process: the guard process has been silent for 60 ms");
}

TEST_F(Watched, TheAcquisitionStopsTheBenchWhenTheGuardEnds) {
  start_guard();
  drive();
  run_ms(100);
  guard_->end(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(cause_at(100), "the guard process: the guard process was ended");
  EXPECT_EQ(device_.commands.back(), "safe state");
}

TEST_F(Watched, AGuardThatIsNotRequiredCountsOnceItIsSeen) {
  bench_.guard.required = false;
  drive();
  pass(10);
  EXPECT_EQ(cause_at(100), "");
  start_guard();  // last
  EXPECT_EQ(guard_->state(), State::running);
  run_ms(100);
  guard_.reset();
  EXPECT_EQ(cause_at(100), "the guard process has ended");
}

TEST_F(Watched, TheGuardJudgesByItself) {
  start_guard();
  drive();
  run_ms(100);
  pass(10);
  EXPECT_EQ(cause_at(2000), "");  // nothing that the acquisition minds
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "above 1000 counts");
  pass(10);
  EXPECT_EQ(cause_at(2000), "the guard process: above 1000 counts");
}

TEST_F(Watched, TheFirstCauseIsKeptAndTheBenchMadeSafeAgainAndAgain) {
  start_guard();
  drive();
  run_ms(100);
  block(2000);
  guard_->look(now_);
  for (int i = 0; i < 200; ++i) {
    pass(10);
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "above 1000 counts");
  EXPECT_EQ(made_safe_, 5);
}

// Stop categories 1 and 2: the acquisition stops under control, the guard looks on.

TEST_F(Watched, AControlledStopIsLetComeToItsEndAndPowerRemovedBehindIt) {
  start_guard();
  drive();
  run_ms(100);
  pass(10);
  EXPECT_EQ(cause_at(400, trip_of(1, "winding is hot")), "winding is hot");
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process: winding is hot");
  go_on_ms(3000, 200);  // the rotor turns still
  EXPECT_EQ(guard_->state(), State::tripping_1);
  EXPECT_EQ(made_safe_, 0);
  EXPECT_EQ(device_.commands, (std::vector<std::string>{"fan_pct 50", "fan_pct 0"}));
  EXPECT_GT(fed_, 20) << "a stop under control needs power";
  go_on_ms(1100, 0);
  EXPECT_EQ(layer_->state(), State::tripped);
  EXPECT_EQ(device_.commands.back(), "safe state");
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_GE(made_safe_, 1);
  EXPECT_EQ(told_.back(), "stopped: power is removed");
}

// An interlock on the disk, say: the guard knows the category only of what it judges itself.
TEST_F(Watched, WhatOnlyTheAcquisitionKnowsIsToTheGuardOfCategoryOne) {
  start_guard();
  drive();
  run_ms(100);
  pass(10);
  block(400, trip_of(2, "battery is full"));
  guard_->look(now_);
  go_on_ms(1500, 0);
  EXPECT_EQ(layer_->state(), State::tripped);
  EXPECT_TRUE(layer_->power_stays_on());
  EXPECT_EQ(device_.commands.back(), "fan_pct 0");
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_GE(made_safe_, 1);
}

TEST_F(Watched, CategoryTwoLeavesPowerOn) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 2;
  pass(10);
  block(2000, trip_of(2, "the same"));
  guard_->look(now_);
  EXPECT_EQ(guard_->state(), State::tripping_2);
  go_on_ms(1500, 0);
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_EQ(made_safe_, 0);
  EXPECT_EQ(told_.back(), "stopped: power stays on");
  EXPECT_EQ(std::count(device_.commands.begin(), device_.commands.end(), "safe state"), 0);
}

TEST_F(Watched, AGuardThatTripsAloneIsFollowedDown) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 1;
  pass(10);
  block(2000);
  guard_->look(now_);
  EXPECT_EQ(guard_->state(), State::tripping_1);
  EXPECT_EQ(made_safe_, 0);
  pass(10);
  EXPECT_EQ(cause_at(500), "the guard process: above 1000 counts");
  EXPECT_EQ(layer_->state(), State::tripping_1);
  EXPECT_EQ(device_.commands.back(), "fan_pct 0");
}

TEST_F(Watched, AnAcquisitionThatDoesNotObeyLosesThePower) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 1;
  block(2000);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 0);
  for (int i = 0; i < 7; ++i) {
    pass(10);
    acquisition_->tell({.activity = Activity::running, .state = State::running, .driven = true}, {},
                       now_);
    guard_->look(now_);
  }
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_EQ(guard_->tripped(), "above 1000 counts") << "the first cause";
  EXPECT_NE(std::find(told_.begin(), told_.end(),
                      "consequence: the acquisition process does not stop the bench"),
            told_.end());
}

TEST_F(Watched, AControlledStopThatFallsSilentLosesThePower) {
  start_guard();
  drive();
  run_ms(100);
  block(400, trip_of(1, "winding is hot"));
  guard_->look(now_);
  pass(60);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->state(), State::tripped);
}

TEST_F(Watched, AControlledStopThatDoesNotEndLosesThePower) {
  start_guard();
  drive();
  run_ms(100);
  block(400, trip_of(1, "winding is hot"));
  guard_->look(now_);
  go_on_ms(4900, 400);
  EXPECT_EQ(made_safe_, 0);
  go_on_ms(200, 400);  // its own layer counts as well
  EXPECT_EQ(layer_->state(), State::tripped);
  EXPECT_EQ(device_.commands.back(), "safe state");
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(Watched, AStopThatIsSaidToBeOverWhileTheRotorTurnsLosesThePower) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 2;
  block(2000);
  guard_->look(now_);
  block(300);
  guard_->look(now_);
  acquisition_->tell({.activity = Activity::standing, .state = State::tripped}, {}, now_);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_NE(std::find(told_.begin(), told_.end(),
                      "consequence: the controlled stop is over and the rotor still turns"),
            told_.end());
}

TEST_F(Watched, NobodyIsAskedForAHeartbeatWhileAPersonIsAtTheBench) {
  start_guard();
  drive();
  run_ms(100);
  layer_->ask_end();
  go_on_ms(50, 0);
  for (int i = 0; i < 60'000; i += 10) {
    pass(10);
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "");
  ASSERT_EQ(layer_->start({}), std::nullopt);  // from now on one is due
  pass(40);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  pass(11);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process has been silent for 51 ms");
}

TEST_F(Watched, ATripLatchesUntilAPersonResetsIt) {
  start_guard("overspeed");
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(
      refusal(),
      "the guard: does not let the bench be driven (the guard process: overspeed): the bench; "
      "then reset it there: windwright guard " +
          bench_.file.string() + " --reset REASON");
  // Nothing is known of the cause before somebody has looked.
  EXPECT_EQ(answer_to_reset("blade fastened"),
            "no samples have come since the last acquisition ended");
  look_at_the_bench(2000);
  EXPECT_EQ(answer_to_reset("blade fastened"), "the cause is not gone: counts");
  EXPECT_EQ(told_.back(), "refused reset: blade fastened: the cause is not gone: counts");
  EXPECT_EQ(guard_->tripped(), "overspeed");
  look_at_the_bench(100);
  way_is_gone_ = true;
  EXPECT_EQ(answer_to_reset("blade fastened"),
            "the guard's own way to the bench is gone: no route");
  way_is_gone_ = false;
  EXPECT_EQ(answer_to_reset("blade fastened"), "");
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(told_.back(), "reset: blade fastened");
  drive();
  run_ms(100);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, IsNotResetWhileTheAcquisitionRuns) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 1;
  block(2000);
  guard_->look(now_);
  EXPECT_EQ(answer_to_reset("in a hurry"), "the acquisition is still running: end it first");
  EXPECT_NE(guard_->tripped(), "");
  go_on_ms(1500, 0);
  end_acquisition();
  guard_->look(now_);
  look_at_the_bench(100);
  EXPECT_EQ(answer_to_reset("ended"), "");
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");  // what the ended one left does not trip again
}

TEST_F(Watched, DifferentFilesAreRefusedInWords) {
  start_guard();
  bench_.text = "another";
  EXPECT_EQ(refusal().substr(0, 74),
            "the guard: works by another bench.toml, rotor or certificates than this pr");
}

TEST_F(Watched, AnAcquisitionThatGoesOnWithOtherFilesIsStopped) {
  start_guard();
  std::optional<Tap> other =
      Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, "others");
  other->beat(now_, {.activity = Activity::running});
  guard_->look(now_);
  EXPECT_EQ(guard_->state(), State::safe) << "not started";
  other->beat(now_, {.activity = Activity::running, .state = State::running, .driven = true});
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(),
            "the acquisition process works by another bench.toml, rotor or certificates");
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(Watched, TheDevicesWatchdogIsFedOnlyWhileBothAreContent) {
  start_guard();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(fed_, 0);  // nobody drives
  drive();
  run_ms(1000);
  EXPECT_EQ(fed_, 11);  // at the start, then every 100 ms
  block(100, trip_of(0, "the acquisition's own interlock"));
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process: the acquisition's own interlock");
  for (int i = 0; i < 1000; i += 10) {
    pass(10);
    guard_->look(now_);
  }
  EXPECT_EQ(fed_, 11);
}

TEST_F(Watched, AGuardWithoutItsOwnWayIsNotContent) {
  start_guard();
  drive();
  run_ms(100);
  way_is_gone_ = true;
  for (int i = 0; i < 100 && guard_->tripped().empty(); i += 10) {
    pass(10);
    EXPECT_EQ(cause_at(100), "");
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "the guard's own way to the bench is gone: no route");
  EXPECT_EQ(told_.back(),
            "trip: the guard's own way to the bench is gone: no route; the safe state could not be "
            "commanded: no route");
  EXPECT_NE(cause_at(100), "");
  EXPECT_EQ(device_.commands.back(), "safe state") << "who has no way of its own is obeyed at once";
}

TEST_F(Watched, ADeviceThatIsLostIsATrip) {
  start_guard();
  drive();
  run_ms(100);
  layer_->lose_device("no answer");
  EXPECT_EQ(device_.commands.back(), "safe state");
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process: no answer");
}

TEST_F(Watched, EveryAcquisitionIsJudgedAfresh) {
  start_guard();
  for (int i = 0; i < 3; ++i) {
    const int before = judges_;
    drive();
    guard_->look(now_);
    EXPECT_EQ(judges_, before + 1);
    run_ms(50);
    layer_->ask_end();
    go_on_ms(50, 0);
    end_acquisition();
    guard_->look(now_);
  }
}

TEST_F(Watched, ASecondAcquisitionIsRefused) {
  start_guard();
  start_acquisition();
  EXPECT_THROW(AcquisitionWatch second(bench_), base::DeviceFault);
}

TEST_F(Watched, SimulatedBenchesWithoutGuardMayRunSideBySide) {
  bench_.guard.required = false;
  start_acquisition();
  AcquisitionWatch second(bench_);
  second.begin(now_);
  SampleBlock block;
  block.fill(std::vector<std::int32_t>(20, 1), 2);
  EXPECT_FALSE(second.look(block, {.activity = Activity::running}, {}, now_));
  EXPECT_EQ(second.runs_not(now_), std::nullopt);
}

}  // namespace
}  // namespace windwright::guard
