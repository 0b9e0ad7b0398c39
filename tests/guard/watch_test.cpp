// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "fresh_folder.h"
#include "guard/acquisition_layer.h"
#include "guard/acquisition_watch.h"
#include "guard/configuration.h"
#include "guard/guard_watch.h"
#include "guard/stop_logic.h"
#include "guard/tap.h"
#include "guard/watched.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <optional>
#include <stdexcept>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

TEST_F(Watched, NothingTripsWhileBothAreContent) {
  start_guard();
  drive();
  run_ms(10'000);
  layer_->ask_end();
  go_on_ms(100, 100);
  EXPECT_EQ(layer_->state(), State::safe);
  EXPECT_EQ(guard_->state(), State::safe);
  EXPECT_EQ(made_safe_, 0) << "it may go on: nobody commands behind its back";
  end_acquisition();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(made_safe_, 1) << "behind the end of a drive, whatever that says of itself";
  EXPECT_EQ(told_, (std::vector<std::string>{"acquisition: has begun", "acquisition: has ended"}));
  EXPECT_EQ(device_.commands, (std::vector<std::string>{"fan_pct 50", "fan_pct 0"}));
}

TEST_F(Watched, TheGuardIsTheFirstToRun) {
  start_guard();
  start_acquisition();
  EXPECT_THROW(layer_->set("fan_pct", 50.0), std::logic_error);
  block(0);
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
    const Tap killed = other_acquisition();
    EXPECT_EQ(made_safe_, 0);
  }
  pass(1);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "the acquisition process died");
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
  run_ms(100);
  EXPECT_EQ(guard_->state(), State::running);
  guard_.reset();
  EXPECT_EQ(cause_at(100), "the guard process has ended");
}

TEST_F(Watched, ADriveThatWasOnBeforeTheGuardIsNotLeftToRunUnseen) {
  bench_.guard.required = false;
  drive();
  answers_ = false;
  start_guard();
  run_ms(1900);
  EXPECT_EQ(guard_->tripped(), "");
  go_on_ms(200, 100);
  EXPECT_EQ(guard_->tripped(), "the acquisition process drives the bench without a start");
}

// It has no guard to ask, and is still setting what comes before the fan.
TEST_F(Watched, AGuardThatComesBetweenAStartAndTheFanLetsItRun) {
  bench_.guard.required = false;
  start_acquisition();
  ASSERT_EQ(layer_->start({}), std::nullopt);
  layer_->set("fan_pct", 0.0);
  start_guard();
  layer_->set("fan_pct", 50.0);
  guard_->look(now_);
  run_ms(100);
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(guard_->state(), State::running);
}

TEST_F(Watched, ADriveThatDiesBeforeTheGuardHasSeenEnoughOfItIsATrip) {
  for (const bool silent : {false, true}) {
    SCOPED_TRACE(silent);
    guard_.reset();
    std::optional<Tap> killed =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    killed->beat(now_, {.activity = Activity::running, .state = State::running, .driven = true});
    start_guard();
    EXPECT_EQ(guard_->tripped(), "");
    if (silent) {
      pass(51);
    } else {
      killed.reset();
    }
    guard_->look(now_);
    EXPECT_EQ(guard_->tripped(), silent ? "the acquisition process has been silent for 51 ms"
                                        : "the acquisition process died");
  }
}

// It commands nothing yet, and shows what it sees before it asks.
TEST_F(Watched, ADeviceThatWasBroughtBackAsItRanIsNotDrivenBeforeTheStart) {
  start_guard();
  start_acquisition();
  layer_->take_over({{"fan_pct", 50.0}});
  block(100);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  ASSERT_EQ(layer_->start({}), std::nullopt);
  run_ms(100);
  EXPECT_EQ(guard_->tripped(), "");
  end_acquisition();
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
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
  block(0);
  ASSERT_EQ(layer_->start({}), std::nullopt);  // from now on one is due
  pass(39);
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
  EXPECT_EQ(told_.back(), "trip: the guard's own way to the bench is gone: no route");
  guard_->look(now_);
  EXPECT_EQ(told_.back(), "fault: the safe state could not be commanded: no route");
  EXPECT_NE(cause_at(100), "");
  EXPECT_EQ(device_.commands.back(), "safe state") << "who has no way of its own is obeyed at once";
}

TEST_F(Watched, PowerThatStaysOnBehindAStopOfCategory2Stays) {
  start_guard();
  drive();
  run_ms(100);
  category_ = 2;
  block(2000, trip_of(2, "both see it"));
  guard_->look(now_);
  go_on_ms(500, 0);
  end_acquisition();
  guard_->look(now_);
  EXPECT_EQ(guard_->state(), State::tripped);
  EXPECT_EQ(made_safe_, 0);
}

TEST_F(Watched, AtRestALostWayOfItsOwnIsAFaultThatKeepsFromStarting) {
  start_guard();
  start_acquisition();
  way_is_gone_ = true;
  for (int i = 0; i < 20; ++i) {
    pass(50);
    block(0);
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(told_.back(), "fault: the guard's own way to the bench is gone: no route");
  EXPECT_EQ(told_.size(), 2) << "once";
  EXPECT_EQ(layer_->start({}),
            "the guard process does not run: not started while it stands: the guard's own way to "
            "the bench (no route)");
  way_is_gone_ = false;
  pass(100);
  block(0);
  guard_->look(now_);
  EXPECT_EQ(layer_->start({}), std::nullopt);
}

TEST_F(Watched, IsNotResetOnOldSamples) {
  start_guard("overspeed");
  look_at_the_bench(100);
  pass(51);
  guard_->look(now_);
  EXPECT_EQ(answer_to_reset("it was well once"), "the last samples are 0.1 s old");
  looker_->write(block_of(100));
  guard_->look(now_);
  EXPECT_EQ(answer_to_reset("it is well"), "");
}

TEST_F(Watched, ManyCommandsBetweenTwoBlocksAreNoSilence) {
  start_guard();
  start_acquisition();
  block(0);
  ASSERT_EQ(layer_->start({}), std::nullopt);
  device_.on_set = [this] {
    for (int i = 0; i < 4; ++i) {
      pass(10);
      guard_->look(now_);
    }
  };
  for (int i = 0; i < 10; ++i)
    layer_->set("load " + std::to_string(i), 1.0);
  layer_->set("fan_pct", 50.0);
  EXPECT_EQ(cause_at(100), "");
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, ARotorThatTurnsOnBehindItsStopIsATrip) {
  start_guard();
  drive();
  run_ms(100);
  layer_->ask_end();
  go_on_ms(119'000, 100);
  EXPECT_EQ(guard_->tripped(), "") << "it coasts";
  go_on_ms(2'000, 100);
  EXPECT_EQ(guard_->tripped(),
            "the rotor still turns after 120 s with nothing to drive it: is the fan off?");
  EXPECT_GE(made_safe_, 1);
  go_on_ms(121'000, 100);
  EXPECT_EQ(told_.back(),
            "fault: the rotor still turns after 120 s with nothing to drive it: is the fan off?");
}

TEST_F(Watched, ARotorThatSomebodyElseTurnsIsNoTrip) {
  start_guard();
  start_acquisition();
  go_on_ms(200'000, 100);
  EXPECT_EQ(guard_->tripped(), "");
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
