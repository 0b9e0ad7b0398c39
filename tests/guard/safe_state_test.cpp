// SPDX-License-Identifier: Apache-2.0
// The safe state as the guard commands it: asked for without waiting, answered later, or never.
#include "guard/stop_logic.h"
#include "guard/tap.h"
#include "guard/watched.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

constexpr const char* unanswered =
    "the command to make the bench safe, which has not been answered yet";

TEST_F(Watched, BehindADriveThatEndsTheBenchIsMadeSafeOnce) {
  start_guard();
  start_acquisition();
  block(0);
  guard_->look(now_);
  end_acquisition();
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 0) << "nothing was driven";
  for (int drives = 1; drives < 3; ++drives) {
    drive_to_the_end();
    go_on_alone_ms(2000);
    EXPECT_EQ(made_safe_, drives);
    EXPECT_EQ(guard_->tripped(), "");
  }
}

TEST_F(Watched, BehindADriveItIsCommandedUntilItComesThrough) {
  start_guard();
  drive_to_the_end();
  way_is_gone_ = true;
  go_on_alone_ms(2000);
  EXPECT_EQ(made_safe_, 4) << "every half second";
  const std::string fault = "fault: the safe state could not be commanded: no route";
  EXPECT_EQ(std::ranges::count(told_, fault), 1);
  start_acquisition();
  block(0);
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the guard's own way to "
            "the bench (no route), the safe state could not be commanded: no route");
  end_acquisition();
  way_is_gone_ = false;
  go_on_alone_ms(2000);
  EXPECT_EQ(made_safe_, 5) << "and no more";
  EXPECT_EQ(std::ranges::count(told_, "fault: over: the safe state is commanded"), 1);
  drive();
}

TEST_F(Watched, ATripIsToldBeforeItsCommandIsAnsweredAndAStopWithTheAnswer) {
  start_guard();
  drive();
  run_ms(100);
  answers_ = false;
  category_ = 1;
  block(2000, trip_of(1, "both see it"));
  guard_->look(now_);
  EXPECT_EQ(told_.back(), "trip: above 1000 counts");
  go_on_ms(1500, 0);
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_EQ(told_.back(), "trip: above 1000 counts") << "nobody knows yet";
  way_is_gone_ = true;
  answers_ = true;
  guard_->look(now_);
  ASSERT_EQ(told_.size(), 4);
  EXPECT_EQ(told_[2], "fault: the safe state could not be commanded: no route");
  EXPECT_EQ(told_[3], "stopped: power is not known to be removed");
}

// An answer that belongs to the command before says nothing of this one.
TEST_F(Watched, IsNotResetBeforeTheSafeStateIsConfirmed) {
  start_guard();
  drive_to_the_end();
  guard_->look(now_);
  ASSERT_EQ(made_safe_, 1);
  look_at_the_bench(100);
  answers_ = false;
  looker_->write(block_of(2000));
  guard_->look(now_);
  ASSERT_EQ(guard_->tripped(), "above 1000 counts");
  const auto ask = [this] {
    looker_->beat(now_, {.activity = Activity::standing});
    looker_->write(block_of(100));
    return answer_to_reset("it is well");
  };
  for (int i = 0; i < 3; ++i) {
    pass(500);
    EXPECT_EQ(ask(), unanswered);
  }
  way_is_gone_ = true;
  answers_ = true;
  EXPECT_EQ(ask(), "the safe state could not be commanded: no route");
  way_is_gone_ = false;
  pass(500);
  answers_ = false;
  EXPECT_EQ(ask(), "the safe state could not be commanded: no route");
  answers_ = true;
  EXPECT_EQ(ask(), "");
  // One that is on its way at a reset keeps the bench from being started until it has come.
  answers_ = false;
  looker_->write(block_of(2000));
  guard_->look(now_);
  answers_ = true;
  guard_->look(now_);
  answers_ = false;
  pass(500);
  EXPECT_EQ(ask(), "") << "it is confirmed; one more is on its way";
  looker_.reset();
  start_acquisition();
  block(0);
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the guard's own way to "
            "the bench, which has not been tried yet, " +
                std::string(unanswered));
  answers_ = true;
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, WithoutAWayOfItsOwnTheGuardDoesNotSayThatPowerIsRemoved) {
  has_own_way_ = false;
  start_guard();
  drive();
  run_ms(100);
  block(400, trip_of(1, "winding is hot"));
  go_on_ms(1500, 0);
  EXPECT_EQ(told_.back(),
            "stopped: power is left to the acquisition process and the device to remove");
  end_acquisition();
  guard_->look(now_);
  look_at_the_bench(100);
  EXPECT_EQ(answer_to_reset("cooled down"), "");
}

TEST_F(Watched, WhatIsCommandedAtTheGuardsEndIsToldWhenItIsAnswered) {
  start_guard();
  drive();
  run_ms(100);
  answers_ = false;
  way_is_gone_ = true;
  guard_->end(now_);
  EXPECT_FALSE(guard_->is_answered());
  answers_ = true;
  EXPECT_TRUE(guard_->is_answered());
  EXPECT_EQ(told_.back(), "fault: the safe state could not be commanded: no route");
  EXPECT_FALSE(guard_->is_left_safe());
}

// Between the guard's last look and its end.
TEST_F(Watched, AGuardThatEndsMakesSafeWhatAnAcquisitionHasLeft) {
  for (const bool in_order : {false, true}) {
    SCOPED_TRACE(in_order);
    guard_.reset();
    start_guard();
    made_safe_ = 0;
    {
      Tap acquisition = other_acquisition();
      if (in_order) acquisition.beat(now_, {.activity = Activity::ended});
    }
    guard_->end(now_);
    EXPECT_EQ(made_safe_, 1);
    EXPECT_TRUE(guard_->is_answered());
    EXPECT_TRUE(guard_->is_left_safe());
  }
}

TEST_F(Watched, AGuardThatEndsBehindADriveMakesSafeAsItDoesOtherwise) {
  start_guard();
  drive_to_the_end();
  guard_->end(now_);
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(Watched, AGuardThatEndsAtRestCommandsNothing) {
  start_guard();
  start_acquisition();
  block(0);
  guard_->look(now_);
  guard_->end(now_);
  EXPECT_EQ(made_safe_, 0);
  EXPECT_TRUE(guard_->is_answered());
  EXPECT_TRUE(guard_->is_left_safe());
}

TEST_F(Watched, NothingIsStartedBeforeTheGuardsOwnWayHasAnswered) {
  start_guard();
  start_acquisition();
  block(0);
  answers_ = false;
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the guard's own way to "
            "the bench, which has not been tried yet");
  EXPECT_EQ(fed_, 1);
  answers_ = true;
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, WhatFollowedTheFirstCauseIsToldAtTheReset) {
  start_guard();
  drive();
  run_ms(100);
  block(2000);
  guard_->look(now_);
  followers_ = "followed by: cover open";
  go_on_ms(1500, 0);
  EXPECT_EQ(answer_to_reset("it is well"), "");
  EXPECT_EQ(std::ranges::count(told_, "followers: followed by: cover open"), 1);
  followers_.clear();
  end_acquisition();
  guard_->look(now_);
  EXPECT_EQ(std::ranges::count(told_, "followers: followed by: cover open"), 1);
}

TEST_F(Watched, AWayThatWasGoneUnderTheAcquisitionBeforeKeepsNobodyFromStarting) {
  start_guard();
  start_acquisition();
  way_is_gone_ = true;
  guard_->look(now_);
  ASSERT_EQ(told_.back(), "fault: the guard's own way to the bench is gone: no route");
  end_acquisition();
  guard_->look(now_);
  way_is_gone_ = false;
  start_acquisition();
  block(0);
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

}  // namespace
}  // namespace windwright::guard
