// SPDX-License-Identifier: Apache-2.0
// Lease and stop logic together, as a server runs them: whatever four people do in whatever order,
// what they may rely on holds. The other side keeps its own, simpler record of who may do what.
#include "guard/lease.h"
#include "guard/stop_logic.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

const std::array<Person, 4> people{
    Person{.session = "a", .name = "A", .place = Place::at_the_bench},
    Person{.session = "b", .name = "B", .place = Place::at_the_bench},
    Person{.session = "c", .name = "C", .place = Place::afar},
    Person{.session = "d", .name = "D", .place = Place::afar}};

enum class Deed : std::uint8_t { take, keep, offer, release, stop, consent, withdraw, start, wait };
constexpr std::size_t deeds = 9;

/// A bench with one layer, its lease, and what was granted, noted independently of the lease.
class Bench {
 public:
  void act(Deed deed, const Person& who, const Person& whom) {
    const std::string before = lease_.holder_name();
    const State state_before = logic_.state();
    switch (deed) {
      case Deed::take:
        if (lease_.take(who, moment()).granted()) heard_[who.name] = now_;
        break;
      case Deed::keep:
        if (lease_.keep(who.session, moment()).granted()) heard_[who.name] = now_;
        break;
      case Deed::offer:
        if (lease_.offer(who.session, whom, moment()).granted()) heard_[who.name] = now_;
        break;
      case Deed::release:
        // Every other time by somebody who does not know yet that a start was carried out.
        lease_.release(who.session,
                       {.now = now_, .driven = ++releases_ % 2 == 0 && moment().driven});
        break;
      case Deed::stop:
        ASSERT_TRUE(lease_.stop(who, moment()).granted());
        break;
      case Deed::consent:
        if (lease_.give_consent(who, {.to = whom, .valid_s = 7.0}, moment()).granted()) {
          ASSERT_EQ(who.place, Place::at_the_bench);
          ASSERT_NE(who.name, whom.name);
          consents_ = {{whom.name, now_ + std::chrono::seconds(7)}};
        }
        break;
      case Deed::withdraw:
        lease_.withdraw_consent(who, moment());
        consents_.clear();
        break;
      case Deed::start:
        start(who);
        break;
      case Deed::wait:
        now_ += std::chrono::seconds(4);
        break;
    }
    feed_stop_logic();
    check(deed, before, state_before);
  }
  void end_stop() { logic_.take(Event::stop_finished); }
  bool stopping() const { return is_under_way(logic_.state()); }
  void reset() { logic_.take(Event::reset_asked); }
  int started() const { return started_; }
  int lost() const { return lost_; }

 private:
  Moment moment() const {
    return {.now = now_,
            .driven = permits_fan(logic_.state()) || is_under_way(logic_.state()),
            .stopping = is_under_way(logic_.state())};
  }

  void start(const Person& who) {
    const bool may = lease_.may_drive(who.session, moment()).granted();
    if (may) {
      ASSERT_EQ(lease_.holder_name(), who.name);
      if (who.place == Place::afar) {
        ASSERT_TRUE(consents_.contains(who.name)) << "a start from afar without consent";
        ASSERT_LT(now_, consents_.at(who.name)) << "a start from afar on a consent that is over";
      }
    }
    const bool was_safe = logic_.state() == State::safe;
    logic_.take(may ? Event::start_asked : Event::start_asked_unready);
    started_ += was_safe && permits_fan(logic_.state()) ? 1 : 0;
  }

  void feed_stop_logic() {
    asked_to_stop_ = false;
    for (const Occurrence& occurrence : lease_.look(moment())) {
      lost_ += occurrence.what == LeaseEvent::operator_lost ? 1 : 0;
      if (!occurrence.stop) continue;
      asked_to_stop_ = true;
      logic_.take(*occurrence.stop);
    }
  }

  void check(Deed deed, const std::string& before, State state_before) {
    // Driven is what somebody holds who was heard within the lapse, or it is being stopped.
    if (permits_fan(logic_.state())) {
      const std::string holder = lease_.holder_name();
      ASSERT_NE(holder, "") << "it runs and nobody commands";
      ASSERT_LE(now_ - heard_.at(holder), std::chrono::seconds(10)) << "a lapse that does not stop";
    }
    ASSERT_TRUE(deed != Deed::stop || !permits_fan(logic_.state())) << "a stop that is refused";
    ASSERT_TRUE(!asked_to_stop_ || !permits_fan(logic_.state()));
    // One who commands is followed by nobody, or by one who took it.
    const std::string after = lease_.holder_name();
    ASSERT_TRUE(after == before || after.empty() || deed == Deed::take);
    // From afar it goes on only as long as the consent lasts.
    const auto remote = std::find_if(people.begin(), people.end(), [&](const Person& person) {
      return person.name == after && person.place == Place::afar;
    });
    if (remote != people.end() && permits_fan(logic_.state())) {
      ASSERT_TRUE(consents_.contains(after) && now_ < consents_.at(after));
    }
    ASSERT_TRUE(permits_fan(state_before) || !permits_fan(logic_.state()) || deed == Deed::start);
    int holders = 0;
    for (const Person& person : people) {
      Lease copy = lease_;
      holders += copy.keep(person.session, moment()).granted() ? 1 : 0;
    }
    ASSERT_LE(holders, 1) << "two commanders";
  }

  Lease lease_;
  StopLogic logic_;
  Instant now_{std::chrono::hours(1)};
  std::map<std::string, Instant> heard_;
  std::map<std::string, Instant> consents_;  // by whom they are to, until when
  bool asked_to_stop_ = false;
  int releases_ = 0;
  int started_ = 0;
  int lost_ = 0;
};

TEST(LeaseProperty, WhateverFourPeopleDoOneCommandsAndEveryLapseStops) {
  std::mt19937 random(20);
  int started = 0;
  int lost = 0;
  for (int history = 0; history < 3000; ++history) {
    Bench bench;
    for (int step = 0; step < 60; ++step) {
      const auto& who = people[random() % people.size()];
      const auto& whom = people[random() % people.size()];
      bench.act(static_cast<Deed>(random() % deeds), who, whom);
      if (HasFatalFailure()) FAIL() << "history " << history << ", step " << step;
      if (bench.stopping() && random() % 3 == 0) bench.end_stop();
      if (random() % 8 == 0) bench.reset();
    }
    started += bench.started();
    lost += bench.lost();
  }
  // That the histories reach what the claims are about.
  EXPECT_GT(started, 1000);
  EXPECT_GT(lost, 100);
}

// Every history of four more deeds that begins with somebody in command, of one person at the bench
// and one afar.
TEST(LeaseProperty, EveryShortHistoryKeepsTheRules) {
  const std::array<std::size_t, 2> both{0, 2};
  constexpr std::size_t choices = deeds * 2;
  constexpr std::size_t length = 4;
  std::size_t histories = 1;
  for (std::size_t i = 0; i < length; ++i)
    histories *= choices;
  int started = 0;
  for (const std::size_t first : both) {
    for (std::size_t number = 0; number < histories; ++number) {
      Bench bench;
      bench.act(Deed::take, people[first], people[first]);
      std::size_t rest = number;
      for (std::size_t step = 0; step < length; ++step, rest /= choices) {
        const std::size_t who = rest % choices % 2;
        bench.act(static_cast<Deed>(rest % choices / 2), people[both[who]], people[both[1 - who]]);
        if (HasFatalFailure()) FAIL() << "history " << number << " of " << people[first].name;
      }
      started += bench.started();
    }
  }
  EXPECT_GT(started, 1000);
}

}  // namespace
}  // namespace windwright::guard
