// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "guard/stop_logic.h"
#include "guard/tap.h"
#include "guard/watched.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

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
  EXPECT_EQ(device_.commands.front(), "fan_pct 50");
  EXPECT_EQ(std::count(device_.commands.begin(), device_.commands.end(), "fan_pct 0"), 31)
      << "at once, then ten times a second";
  EXPECT_EQ(device_.commands.size(), 32);
  EXPECT_GT(fed_, 20) << "a stop under control needs power";
  go_on_ms(1100, 0);
  EXPECT_EQ(layer_->state(), State::tripped);
  EXPECT_EQ(device_.commands.back(), "safe state");
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_GE(made_safe_, 1);
  EXPECT_EQ(told_.back(), "stopped: power is removed");
}

TEST_F(Watched, AControlledStopCommandsItsLoadAgainUntilItIsOver) {
  add_load_selector(false);
  for (const double load : {0.0, 2.0}) {
    SCOPED_TRACE(load);
    guard_.reset();
    start_guard();
    drive();
    layer_->set("load_selector", load);
    run_ms(100);
    block(400, trip_of(1, "winding is hot"));
    device_.commands.clear();
    go_on_ms(1000, 400);
    const std::string on = load == 0.0 ? "load_selector 1" : "load_selector 2";
    EXPECT_EQ(std::count(device_.commands.begin(), device_.commands.end(), on), 10);
    EXPECT_EQ(std::count(device_.commands.begin(), device_.commands.end(), "fan_pct 0"), 10);
    EXPECT_EQ(device_.commands.size(), 20);
    end_acquisition();
  }
}

// Whatever has turned the rotor again, or taken its load off, behind a stop that was answered.
TEST_F(Watched, AControlledStopAsksForNoHand) {
  add_load_selector(true);
  start_guard();
  drive();
  run_ms(100);
  device_.commands.clear();
  block(400, trip_of(1, "winding is hot"));
  go_on_ms(1000, 400);
  EXPECT_EQ(device_.commands, std::vector<std::string>(11, "fan_pct 0"));
}

TEST_F(Watched, TheSafeStateIsCommandedAgainAsLongAsTheRotorTurns) {
  start_guard();
  drive();
  run_ms(100);
  block(400, trip_of(0, "overspeed"));
  device_.commands.clear();
  go_on_ms(20'000, 400);
  EXPECT_EQ(device_.commands, std::vector<std::string>(200, "safe state"));
  device_.commands.clear();
  go_on_ms(20'000, 0);
  EXPECT_EQ(device_.commands, std::vector<std::string>()) << "it stands, and has for long";
  go_on_ms(100, 400);
  EXPECT_EQ(device_.commands, std::vector<std::string>(1, "safe state"));
}

// A sensor that shows a rotor that stands may be what has failed.
TEST_F(Watched, AtFirstTheSafeStateIsCommandedAgainWhateverTheRotorShows) {
  start_guard();
  drive();
  run_ms(100);
  block(400, trip_of(0, "overspeed"));
  device_.commands.clear();
  go_on_ms(20'000, 0);
  const auto again = device_.commands.size();
  EXPECT_GE(again, 48) << "for the time of the longest controlled stop";
  EXPECT_LE(again, 50);
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
}  // namespace
}  // namespace windwright::guard
