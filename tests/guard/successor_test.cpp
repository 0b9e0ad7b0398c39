// SPDX-License-Identifier: Apache-2.0
// One process behind the other on either side: who died, who ended, and whose block it was.
#include "guard/configuration.h"
#include "guard/guard_watch.h"
#include "guard/half_written.h"
#include "guard/stop_logic.h"
#include "guard/tap.h"
#include "guard/watched.h"

#include <gtest/gtest.h>

#include <optional>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

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

TEST_F(Watched, AnAcquisitionAfterOneThatWasKilledWithinAHeartbeatIsWatched) {
  start_guard();
  {
    std::optional<Tap> killed =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    const auto beat = [&] {
      pass(1);
      killed->beat(now_, {.activity = Activity::standing});
    };
    for (int i = 0; i < 50; ++i)
      beat();
    guard_->look(now_);
    kill_within_a_heartbeat(tap_name(bench_), beat);
  }
  guard_->look(now_);
  drive();
  guard_->look(now_);
  pass(51);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process has been silent for 51 ms");
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(Watched, AnAcquisitionThatDiesIsNoticedThoughTheNextOneIsThereAlready) {
  for (const bool next_has_beaten : {false, true}) {
    for (const bool within_a_heartbeat : {false, true}) {
      SCOPED_TRACE(next_has_beaten);
      guard_.reset();
      start_guard();
      made_safe_ = 0;
      {
        Tap killed = other_acquisition();
        const auto beat = [&] {
          pass(1);
          killed.beat(now_,
                      {.activity = Activity::running, .state = State::running, .driven = true});
        };
        if (within_a_heartbeat) kill_within_a_heartbeat(tap_name(bench_), beat);
      }
      std::optional<Tap> next = Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition,
                                          configuration_of(bench_));
      if (next_has_beaten) next->beat(now_, {.activity = Activity::standing});
      guard_->look(now_);
      EXPECT_EQ(guard_->tripped(), "the acquisition process died");
      EXPECT_EQ(made_safe_, 1);
    }
  }
}

TEST_F(Watched, AnEndInOrderIsOneThoughTheNextAcquisitionIsThereAlready) {
  start_guard();
  drive();
  run_ms(100);
  layer_->ask_end();
  go_on_ms(100, 0);
  ASSERT_EQ(layer_->start({}), std::nullopt);  // running until the last moment, and driving nothing
  guard_->look(now_);
  end_acquisition();
  start_acquisition();
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, AGuardThatTakesTheDeadOnesPlaceBetweenTwoBlocksIsNotItsHeartbeat) {
  start_guard();
  drive();
  run_ms(100);
  guard_.reset();
  start_guard();  // and it gives heartbeats already
  EXPECT_EQ(cause_at(100), "another guard process has begun");
  EXPECT_EQ(device_.commands.back(), "safe state");
}

TEST_F(Watched, AtRestTheGuardMayBeStartedAnew) {
  start_guard();
  start_acquisition();
  EXPECT_EQ(cause_at(0), "");
  guard_.reset();
  EXPECT_EQ(cause_at(0), "");
  start_guard();
  EXPECT_EQ(cause_at(0), "");
  ASSERT_EQ(layer_->start({}), std::nullopt);
  run_ms(100);
}

// What the one before was allowed, with all that was looked at before, is not its own.
TEST_F(Watched, ASuccessorThatRunsAlreadyIsNotRunByTheOnesBeforeConsent) {
  start_guard();
  {
    Tap one = other_acquisition();
    one.beat(now_, {.activity = Activity::ended});
  }
  std::optional<Tap> next =
      Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
  beat_driving(*next);
  EXPECT_EQ(guard_->tripped(), "the acquisition process drives the bench without a start");
  EXPECT_GE(made_safe_, 1);
}

TEST_F(Watched, AnAcquisitionDoesNotTakeTheConsentThatTheOneBeforeHad) {
  start_guard();
  drive();
  run_ms(100);
  end_acquisition();
  start_acquisition();  // the guard has not looked since
  pass(1);
  acquisition_->tell({.activity = Activity::running}, {}, now_);
  EXPECT_EQ(acquisition_->runs_not(now_), "the guard process does not run yet");
  pass(1);
  guard_->look(now_);
  EXPECT_NE(acquisition_->runs_not(now_), std::nullopt) << "no block of this one was judged";
  block(0);
  guard_->look(now_);
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, BehindADriveTheBenchIsMadeSafeThoughTheNextAcquisitionIsThereAlready) {
  start_guard();
  drive();
  run_ms(100);
  layer_->ask_end();
  go_on_ms(100, 0);
  end_acquisition();
  start_acquisition();
  answers_ = false;
  block(0);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(made_safe_, 1);
  EXPECT_NE(layer_->start({}), std::nullopt) << "it is on its way";
  answers_ = true;
  EXPECT_EQ(layer_->start({}), std::nullopt);
  EXPECT_EQ(made_safe_, 1);
}

TEST_F(Watched, NothingIsStartedByTheAnswerThatCameUnderTheOneBefore) {
  start_guard();
  start_acquisition();
  block(0);
  guard_->look(now_);
  ASSERT_EQ(fed_, 1);
  end_acquisition();
  answers_ = false;
  start_acquisition();  // the guard has not looked since
  block(0);
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the guard's own way to "
            "the bench, which has not been tried yet");
  answers_ = true;
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, NothingIsStartedByABlockThatTheOneBeforeHasLeft) {
  has_own_way_ = false;  // whose answer would be waited for
  start_guard();
  start_acquisition();
  guard_->look(now_);
  block(0);
  end_acquisition();
  start_acquisition();
  EXPECT_NE(layer_->start({}), std::nullopt);
  block(0);
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, NothingIsStartedByWhatTheOneBeforeHasShown) {
  start_guard();
  drive_to_the_end();
  standing_ = {"cover"};
  start_acquisition();
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: no samples have come "
            "since the last acquisition ended");
  block(0);
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: cover");
  standing_.clear();
  pass(5000);
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the last samples are 5.0 "
            "s old");
  block(0);
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, ATrippedAcquisitionCommandsNoMoreOftenForAGuardThatIsStartedAnew) {
  start_guard();
  drive();
  run_ms(100);
  guard_.reset();
  start_guard();
  ASSERT_EQ(cause_at(100), "another guard process has begun");
  device_.commands.clear();
  go_on_ms(1000, 100);
  EXPECT_EQ(device_.commands, std::vector<std::string>(10, "safe state"));
}

// Its time, say, has nothing to do with that of the acquisition before.
TEST_F(Watched, ABlockThatComesBeforeItsAcquisitionIsHeardIsJudgedAnew) {
  start_guard();
  look_at_the_bench(100);
  looker_.reset();
  looker_ =
      Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
  const int before = judges_;
  looker_->write(block_of(100));
  guard_->look(now_);
  EXPECT_EQ(judges_, before + 1);
  looker_->beat(now_, {.activity = Activity::standing});
  looker_->write(block_of(100));
  guard_->look(now_);
  EXPECT_EQ(judges_, before + 1);
}

}  // namespace
}  // namespace windwright::guard
