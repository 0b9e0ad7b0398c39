// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"
#include "guard/acquisition_watch.h"
#include "guard/configuration.h"
#include "guard/guard_watch.h"
#include "guard/tap.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

using bench::SampleBlock;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

/// Both processes in one, and a clock that the test turns. A block above 1000 counts trips the
/// guard's own judge.
class Watched : public testing::Test {
 protected:
  Watched() {
    bench_.file = fresh_folder() / "bench.toml";
    bench_.text = "one";
    bench_.sample_rate_hz = 1000.0;
    bench_.block_s = 0.01;
    bench_.channels.resize(2);
    bench_.guard = {.required = true, .silence_s = 0.05};
    Tap::remove(tap_name(bench_));
  }
  ~Watched() override { Tap::remove(tap_name(bench_)); }

  void start_guard(const std::string& tripped = {}) {
    std::optional<Tap> tap =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::guard, configuration_of(bench_));
    ASSERT_TRUE(tap);
    guard_ = std::make_unique<GuardWatch>(
        std::move(*tap),
        GuardOptions{.silence_s = bench_.guard.silence_s,
                     .configuration = configuration_of(bench_),
                     .tripped = tripped},
        [this]() -> Judge {
          ++judges_;
          return [](const SampleBlock& block) -> std::optional<std::string> {
            if (block.counts.front() > 1000) return "above 1000 counts";
            return std::nullopt;
          };
        },
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
  void start_acquisition() {
    acquisition_ = std::make_unique<AcquisitionWatch>(bench_);
    acquisition_->begin(now_);
  }
  void pass(int ms) { now_ += milliseconds(ms); }
  std::optional<std::string> block(std::int32_t count,
                                   const std::optional<std::string>& own_cause = std::nullopt) {
    SampleBlock block;
    block.fill(std::vector<std::int32_t>(20, count), 2);
    return acquisition_->look(block, own_cause, now_);
  }
  /// Both sides as they should be, a block every 10 ms.
  void run_ms(int ms) {
    for (int i = 0; i < ms; i += 10) {
      pass(10);
      ASSERT_EQ(block(100), std::nullopt);
      guard_->look(now_);
    }
  }
  std::string refusal() {
    try {
      start_acquisition();
    } catch (const base::DeviceFault& fault) {
      acquisition_.reset();
      return fault.what();
    }
    return {};
  }

  bench::Bench bench_{};
  // Beyond what the acquisition's destructor takes from the real clock.
  Instant now_ = steady_clock::now();
  std::unique_ptr<GuardWatch> guard_;
  std::unique_ptr<AcquisitionWatch> acquisition_;
  std::vector<std::string> told_;
  int judges_ = 0;
  int made_safe_ = 0;
  int fed_ = 0;
  bool way_is_gone_ = false;
};

TEST_F(Watched, NothingTripsWhileBothAreContent) {
  start_guard();
  start_acquisition();
  run_ms(10'000);
  acquisition_.reset();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(made_safe_, 0);
  EXPECT_EQ(told_, (std::vector<std::string>{"acquisition: has begun", "acquisition: has ended"}));
}

TEST_F(Watched, ABenchThatRequiresAGuardIsNotDrivenWithoutIt) {
  EXPECT_EQ(refusal(),
            "the guard: is not running, and this bench is not driven without it "
            "([guard] required): start `windwright guard " +
                bench_.file.string() + "` in another terminal");
  bench_.guard.required = false;
  EXPECT_EQ(refusal(), "");
  EXPECT_EQ(block(100), std::nullopt);
}

TEST_F(Watched, TheGuardStopsTheBenchPastASilentAcquisition) {
  start_guard();
  start_acquisition();
  run_ms(100);
  pass(49);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 0);
  pass(2);
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "the acquisition process has been silent for 51 ms");
  // Awake again it finds that it may not go on.
  EXPECT_EQ(block(100), "the guard process: the acquisition process has been silent for 51 ms");
}

TEST_F(Watched, TheGuardStopsTheBenchWhenTheAcquisitionDies) {
  start_guard();
  {
    // What a killed process leaves: its last heartbeat, and no lock.
    std::optional<Tap> killed =
        Tap::open(tap_name(bench_), tap_shape(bench_), Side::acquisition, configuration_of(bench_));
    killed->beat(now_, Activity::running, true);
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
    killed->beat(now_, Activity::running, true);
  }
  start_guard();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, TheAcquisitionStopsTheBenchWhenTheGuardIsSilent) {
  start_guard();
  start_acquisition();
  run_ms(100);
  pass(50);
  EXPECT_EQ(block(100), std::nullopt);
  pass(10);
  EXPECT_EQ(block(100), "the guard process has been silent for 60 ms");
  guard_->look(now_);  // which says so to the guard
  EXPECT_EQ(guard_->tripped(),
            "the acquisition process: the guard process has been silent for 60 ms");
}

TEST_F(Watched, TheAcquisitionStopsTheBenchWhenTheGuardEnds) {
  start_guard();
  start_acquisition();
  run_ms(100);
  guard_->end(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(block(100), "the guard process: the guard process was ended");
  guard_.reset();
  EXPECT_EQ(block(100), "the guard process has ended");
}

TEST_F(Watched, AGuardThatIsNotRequiredCountsOnceItIsSeen) {
  bench_.guard.required = false;
  start_acquisition();
  pass(10);
  EXPECT_EQ(block(100), std::nullopt);
  start_guard();  // last
  run_ms(100);
  guard_.reset();
  EXPECT_EQ(block(100), "the guard process has ended");
}

TEST_F(Watched, TheGuardJudgesByItself) {
  start_guard();
  start_acquisition();
  run_ms(100);
  pass(10);
  EXPECT_EQ(block(2000), std::nullopt);  // nothing that the acquisition minds
  guard_->look(now_);
  EXPECT_EQ(made_safe_, 1);
  EXPECT_EQ(guard_->tripped(), "above 1000 counts");
  pass(10);
  EXPECT_EQ(block(2000), "the guard process: above 1000 counts");
}

TEST_F(Watched, TheFirstCauseIsKeptAndTheBenchMadeSafeAgainAndAgain) {
  start_guard();
  start_acquisition();
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
  start_acquisition();
  run_ms(100);
  acquisition_->stand(now_);
  for (int i = 0; i < 60'000; i += 10) {
    pass(10);
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "");
  acquisition_->drive(now_);  // before the first command: from now on one is due
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
  const auto number = Tap::ask_reset(tap_name(bench_), "blade fastened");
  ASSERT_TRUE(number);
  guard_->look(now_);
  EXPECT_EQ(Tap::answer_to_reset(tap_name(bench_), *number), "");
  EXPECT_EQ(guard_->tripped(), "");
  EXPECT_EQ(told_.back(), "reset: blade fastened");
  EXPECT_EQ(refusal(), "");
  run_ms(100);
  EXPECT_EQ(guard_->tripped(), "");
}

TEST_F(Watched, IsNotResetWhileTheAcquisitionRuns) {
  start_guard();
  start_acquisition();
  run_ms(100);
  block(2000);
  guard_->look(now_);
  const auto number = Tap::ask_reset(tap_name(bench_), "in a hurry");
  guard_->look(now_);
  EXPECT_EQ(Tap::answer_to_reset(tap_name(bench_), *number),
            "the acquisition is still running: end it first");
  EXPECT_NE(guard_->tripped(), "");
  acquisition_.reset();
  const auto second = Tap::ask_reset(tap_name(bench_), "ended");
  guard_->look(now_);
  EXPECT_EQ(Tap::answer_to_reset(tap_name(bench_), *second), "");
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
  other->beat(now_, Activity::running, true);
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(),
            "the acquisition process works by another bench.toml, rotor or certificates");
}

TEST_F(Watched, TheDevicesWatchdogIsFedOnlyWhileBothAreContent) {
  start_guard();
  pass(1000);
  guard_->look(now_);
  EXPECT_EQ(fed_, 0);  // nobody drives
  start_acquisition();
  run_ms(1000);
  EXPECT_EQ(fed_, 10);
  block(100, "the acquisition's own interlock");
  guard_->look(now_);
  EXPECT_EQ(guard_->tripped(), "the acquisition process: the acquisition's own interlock");
  for (int i = 0; i < 1000; i += 10) {
    pass(10);
    guard_->look(now_);
  }
  EXPECT_EQ(fed_, 10);
}

TEST_F(Watched, AGuardWithoutItsOwnWayIsNotContent) {
  start_guard();
  start_acquisition();
  run_ms(100);
  way_is_gone_ = true;
  for (int i = 0; i < 100 && guard_->tripped().empty(); i += 10) {
    pass(10);
    EXPECT_EQ(block(100), std::nullopt);
    guard_->look(now_);
  }
  EXPECT_EQ(guard_->tripped(), "the guard's own way to the bench is gone: no route");
  EXPECT_EQ(told_.back(),
            "trip: the guard's own way to the bench is gone: no route; the safe state could not be "
            "commanded: no route");
  EXPECT_NE(block(100), std::nullopt);
}

TEST_F(Watched, EveryAcquisitionIsJudgedAfresh) {
  start_guard();
  for (int i = 0; i < 3; ++i) {
    const int before = judges_;
    start_acquisition();
    guard_->look(now_);
    EXPECT_EQ(judges_, before + 1);
    run_ms(50);
    acquisition_.reset();
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
  EXPECT_EQ(second.look(block, std::nullopt, now_), std::nullopt);
  EXPECT_EQ(second.look(block, "own", now_), "own");
}

}  // namespace
}  // namespace windwright::guard
