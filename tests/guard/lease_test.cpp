// SPDX-License-Identifier: Apache-2.0
#include "guard/lease.h"

#include "guard/stop_logic.h"

#include <gtest/gtest.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

const Person anna{.session = "a", .name = "A", .place = Place::at_the_bench};
const Person bela{.session = "b", .name = "B", .place = Place::at_the_bench};
const Person cleo{.session = "c", .name = "C", .place = Place::afar};
const Person dino{.session = "d", .name = "D", .place = Place::afar};

/// A lease and a clock that the test turns.
class LeaseTest : public testing::Test {
 protected:
  Moment at(bool driven = false) const { return {.now = now_, .driven = driven}; }
  void pass(double s) {
    now_ += std::chrono::duration_cast<Instant::duration>(std::chrono::duration<double>(s));
  }
  /// The last occurrence, and nothing where there was none.
  std::optional<Occurrence> last(bool driven = false) {
    const std::vector<Occurrence> happened = lease_.look(at(driven));
    return happened.empty() ? std::nullopt : std::optional(happened.back());
  }

  Lease lease_;
  Instant now_{std::chrono::hours(1)};
};

TEST_F(LeaseTest, OneOperatorAtATimeCommands) {
  EXPECT_TRUE(lease_.take(anna, at()).granted());
  const Answer refused = lease_.take(bela, at());
  EXPECT_EQ(refused.refusal, Refusal::held_by_another);
  EXPECT_EQ(refused.words, "A (at the bench) commands this bench: ask for a hand-over");
  EXPECT_EQ(lease_.may_drive("b", at()).refusal, Refusal::not_the_holder);
  EXPECT_TRUE(lease_.may_drive("a", at()).granted());
}

TEST_F(LeaseTest, HandOverTakesBoth) {
  lease_.take(anna, at());
  EXPECT_EQ(lease_.offer("b", cleo, at()).refusal, Refusal::not_the_holder);
  EXPECT_TRUE(lease_.offer("a", bela, at()).granted());
  EXPECT_EQ(lease_.view(at()).offered_to, "B");
  EXPECT_FALSE(lease_.take(cleo, at()).granted());
  EXPECT_EQ(lease_.holder_name(), "A");
  EXPECT_TRUE(lease_.take(bela, at()).granted());
  EXPECT_EQ(lease_.holder_name(), "B");
  EXPECT_EQ(last()->text, "from A (at the bench) to B (at the bench)");
  EXPECT_FALSE(lease_.keep("a", at()).granted());
}

TEST_F(LeaseTest, LapseWhileDrivenIsATripOfCategoryOne) {
  lease_.take(anna, at());
  pass(10.0);
  EXPECT_TRUE(lease_.keep("a", at(true)).granted());
  pass(10.5);
  const std::optional<Occurrence> lost = last(true);
  ASSERT_TRUE(lost);
  EXPECT_EQ(lost->what, LeaseEvent::operator_lost);
  EXPECT_EQ(lost->stop, Event::violation_1);
  EXPECT_EQ(lost->text, "A (at the bench) has not been heard for 10.5 s");
  // A late heartbeat revives nothing, and nobody takes a bench that still moves.
  EXPECT_FALSE(lease_.keep("a", at(true)).granted());
  EXPECT_EQ(lease_.take(bela, at(true)).refusal, Refusal::being_stopped);
  EXPECT_TRUE(lease_.take(bela, at(false)).granted());
}

TEST_F(LeaseTest, LateHeartbeatDoesNotHideTheLapse) {
  lease_.take(anna, at());
  pass(11.0);
  EXPECT_FALSE(lease_.keep("a", at(true)).granted());
  EXPECT_EQ(last(true)->what, LeaseEvent::operator_lost);
}

TEST_F(LeaseTest, LapseOfABenchAtRestOnlyFreesIt) {
  lease_.take(anna, at());
  pass(11.0);
  const std::optional<Occurrence> lapsed = last();
  EXPECT_EQ(lapsed->what, LeaseEvent::lapsed);
  EXPECT_EQ(lapsed->stop, std::nullopt);
  EXPECT_TRUE(lease_.take(bela, at()).granted());
}

TEST_F(LeaseTest, ReleaseWhileDrivenIsAStop) {
  lease_.take(anna, at());
  EXPECT_TRUE(lease_.release("a", at(true)).granted());
  EXPECT_EQ(last(true)->stop, Event::end_asked);
}

// A start that was permitted is carried out a moment later: whoever let go meanwhile let go of a
// bench that is driven.
TEST_F(LeaseTest, WhatIsDrivenByNobodyIsStoppedHoweverItCameAbout) {
  lease_.take(anna, at());
  EXPECT_TRUE(lease_.release("a", at(false)).granted());
  EXPECT_EQ(last(false)->stop, std::nullopt);
  EXPECT_EQ(last(true)->stop, Event::end_asked);
  EXPECT_EQ(last(true)->stop, Event::end_asked) << "again, until it is done";
  EXPECT_TRUE(lease_.look({.now = now_, .driven = true, .stopping = true}).empty());
  EXPECT_FALSE(last(false));

  lease_.take(cleo, at());
  lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0}, at());
  lease_.withdraw_consent(bela, at(false));
  last(false);
  EXPECT_EQ(last(true)->stop, Event::end_asked) << "from afar without consent";
}

TEST_F(LeaseTest, AnybodyStopsFromAnywhere) {
  lease_.take(anna, at());
  EXPECT_TRUE(lease_.stop(dino, at(true)).granted());
  const std::optional<Occurrence> stop = last(true);
  EXPECT_EQ(stop->stop, Event::end_asked);
  EXPECT_EQ(stop->text, "D (from afar)");
}

TEST_F(LeaseTest, FromAfarItIsDrivenWithConsentOnly) {
  lease_.take(cleo, at());
  EXPECT_EQ(lease_.may_drive("c", at()).refusal, Refusal::no_consent);
  EXPECT_EQ(lease_.give_consent(dino, {.to = cleo, .valid_s = 60.0}, at()).refusal,
            Refusal::not_at_the_bench);
  EXPECT_EQ(lease_.give_consent(cleo, {.to = cleo, .valid_s = 60.0}, at()).refusal,
            Refusal::not_at_the_bench);
  EXPECT_EQ(lease_.give_consent(anna, {.to = cleo, .valid_s = 0.0}, at()).refusal,
            Refusal::bad_time);
  EXPECT_EQ(lease_.give_consent(anna, {.to = cleo, .valid_s = 1e6}, at()).refusal,
            Refusal::bad_time);
  EXPECT_TRUE(lease_.give_consent(anna, {.to = dino, .valid_s = 60.0}, at()).granted());
  EXPECT_EQ(lease_.may_drive("c", at()).words, "the consent of A is to D, not to C");
  EXPECT_TRUE(lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0}, at()).granted());
  EXPECT_TRUE(lease_.may_drive("c", at()).granted());
  EXPECT_EQ(last()->text, "by A to C for 60 s");
}

TEST_F(LeaseTest, NobodyDrivesFromAfarByCallingThemselvesPresent) {
  lease_.take(cleo, at());
  Person present = cleo;
  present.place = Place::at_the_bench;
  EXPECT_TRUE(lease_.take(present, at()).granted());  // a heartbeat
  EXPECT_EQ(lease_.may_drive("c", at()).refusal, Refusal::no_consent);
}

TEST_F(LeaseTest, ConsentThatEndsStopsWhomItLetDrive) {
  for (const bool withdrawn : {true, false}) {
    lease_ = Lease();
    lease_.take(cleo, at());
    lease_.give_consent(anna, {.to = cleo, .valid_s = 5.0}, at());
    lease_.look(at());
    if (withdrawn) {
      EXPECT_TRUE(lease_.withdraw_consent(dino, at(true)).granted());
    } else {
      pass(5.0);
    }
    const std::optional<Occurrence> ended = last(true);
    EXPECT_EQ(ended->what, withdrawn ? LeaseEvent::consent_withdrawn : LeaseEvent::consent_expired);
    EXPECT_EQ(ended->stop, Event::end_asked);
    EXPECT_EQ(lease_.may_drive("c", at(true)).refusal, Refusal::no_consent);
  }
}

TEST_F(LeaseTest, ConsentEndsWithTheOperatorItWasGivenTo) {
  lease_.take(cleo, at());
  lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0}, at());
  lease_.release("c", at());
  lease_.take(cleo, at());
  EXPECT_EQ(lease_.may_drive("c", at()).refusal, Refusal::no_consent);
}

TEST_F(LeaseTest, ConsentForOneRunEndsWithTheRun) {
  lease_.take(cleo, at());
  lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0, .one_run = true}, at());
  EXPECT_TRUE(lease_.view(at()).consent->one_run);
  lease_.run_ended(at());
  EXPECT_EQ(lease_.may_drive("c", at()).refusal, Refusal::no_consent);
  lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0}, at());
  lease_.run_ended(at());
  EXPECT_TRUE(lease_.may_drive("c", at()).granted());
}

TEST_F(LeaseTest, ABenchThatRunsIsHandedOverAfarWithConsentOnly) {
  lease_.take(anna, at());
  lease_.offer("a", cleo, at(true));
  EXPECT_EQ(lease_.take(cleo, at(true)).refusal, Refusal::no_consent);
  EXPECT_EQ(lease_.holder_name(), "A");
  lease_.give_consent(bela, {.to = cleo, .valid_s = 60.0}, at(true));
  EXPECT_TRUE(lease_.take(cleo, at(true)).granted());
}

TEST_F(LeaseTest, ShowsNamesTimesAndNoSession) {
  lease_.take(cleo, at());
  lease_.give_consent(anna, {.to = cleo, .valid_s = 60.0}, at());
  pass(4.0);
  const LeaseView view = lease_.view(at());
  EXPECT_EQ(view.holder->name, "C");
  EXPECT_EQ(name(view.holder->place), "afar");
  EXPECT_DOUBLE_EQ(view.holder->held_s, 4.0);
  EXPECT_DOUBLE_EQ(view.holder->lapses_in_s, 6.0);
  EXPECT_EQ(view.consent->by, "A");
  EXPECT_DOUBLE_EQ(view.consent->expires_in_s, 56.0);
}

}  // namespace
}  // namespace windwright::guard
