// SPDX-License-Identifier: Apache-2.0
#include "guard/guard_watch.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

constexpr std::chrono::milliseconds make_safe_again{500};
constexpr std::chrono::milliseconds feed_again{100};
constexpr const char* other_files =
    "the acquisition process works by another bench.toml, rotor or certificates";

double seconds(Instant::duration passed) {
  return std::chrono::duration<double>(passed).count();
}

}  // namespace

GuardWatch::GuardWatch(Tap tap, GuardOptions options, std::function<Judge()> make_judge,
                       OwnWay own_way,
                       std::function<void(std::string_view, const std::string&)> tell)
    : tap_(std::move(tap)),
      options_(std::move(options)),
      make_judge_(std::move(make_judge)),
      own_way_(std::move(own_way)),
      tell_(std::move(tell)),
      judge_(make_judge_()),
      logic_(options_.tripped.empty() ? State::safe : State::tripped),
      cause_(options_.tripped),
      removes_power_(!options_.tripped.empty()) {
  // What a process left that has ended before this one began is not this one's.
  if (const std::optional<Pulse> pulse = tap_.other_pulse(); pulse && !tap_.other_lives())
    dealt_ = pulse->number;
  if (!cause_.empty()) tap_.set_cause(cause_);
}

// The order of the sources is the model's: device, interlocks, the other layer, people, the stop.
void GuardWatch::look(Instant now) {
  see_who_is_there();
  judge_blocks(now);
  listen(now);
  follow_wishes(now);
  follow_stop(now);
  if (removes_power_ && (!made_safe_ || now - *made_safe_ >= make_safe_again)) make_safe(now);
  answer_reset(now);
  beat(now);
  feed(now);
}

void GuardWatch::beat(Instant now) {
  tap_.beat(now, {.activity = Activity::running,
                  .state = logic_.state(),
                  .driven = false,
                  .holds_off = removes_power_});
}

// What an acquisition's blocks are judged by does not remember the one before it.
void GuardWatch::see_who_is_there() {
  seen_ = {.lives = tap_.other_lives(), .pulse = tap_.other_pulse()};
  const bool was_present = std::exchange(present_, seen_.lives && seen_.pulse);
  if (present_ == was_present) return;
  if (!present_ && is_latched(logic_.state()) && judge_.followers) {
    if (const std::string followers = judge_.followers(); !followers.empty())
      tell_("followers", followers);
  }
  if (present_) {
    judge_ = make_judge_();
    judged_ = 0;
  }
  std::string text = present_ ? "has begun" : "has ended";
  if (const std::uint64_t missed = std::exchange(missed_, 0); missed > 0)
    text += fmt::format("; {} of its blocks were overwritten before they were judged", missed);
  tell_("acquisition", text);
}

void GuardWatch::judge_blocks(Instant now) {
  while (tap_.read(block_)) {
    ++judged_;
    if (const std::optional<Trip> trip = judge_.judge(block_))
      take(violation_event(trip->stop_category), in_words(*trip), now);
  }
  missed_ += tap_.missed();
}

std::optional<std::string> GuardWatch::acquisition_is_gone(Instant now) {
  const Pulse& pulse = *seen_.pulse;
  if (!seen_.lives) {
    dealt_ = pulse.number;
    if (pulse.words.activity == Activity::ended) return std::nullopt;
    return "the acquisition process died";
  }
  if (tap_.other_configuration() != options_.configuration) return other_files;
  const double silent_s = seconds(now - pulse.time);
  if (pulse.words.activity == Activity::running && silent_s > options_.silence_s) {
    return fmt::format("the acquisition process has been silent for {:.0f} ms", 1e3 * silent_s);
  }
  return std::nullopt;
}

void GuardWatch::listen(Instant now) {
  if (!seen_.pulse || seen_.pulse->number <= dealt_) return;
  if (const std::optional<std::string> cause = acquisition_is_gone(now))
    take(Event::other_silent, *cause, now);
  const Words& words = seen_.pulse->words;
  if (words.content()) return;
  // One that has removed power already is followed at once.
  const bool at_once =
      words.holds_off && (permits_fan(logic_.state()) || logic_.state() == State::stopping);
  take(at_once ? Event::violation_0 : Event::other_tripped,
       fmt::format("the acquisition process: {}", tap_.other_cause()), now);
}

bool GuardWatch::is_driven() const {
  return seen_.pulse && seen_.lives && seen_.pulse->words.activity == Activity::running;
}

// The guard is the first to run and the last to end.
void GuardWatch::follow_wishes(Instant now) {
  const bool same_files = tap_.other_configuration() == options_.configuration;
  const bool wanted = is_driven() && seen_.pulse->words.content() && same_files &&
                      seconds(now - seen_.pulse->time) <= options_.silence_s;
  if (logic_.state() == State::safe && wanted) {
    const std::vector<std::string> standing =
        judge_.standing ? judge_.standing() : std::vector<std::string>();
    if (standing.empty()) {
      tap_.set_cause({});
      take(Event::start_asked, {}, now);
    } else {
      tap_.set_cause(fmt::format("not started while it stands: {}", fmt::join(standing, ", ")));
      take(Event::start_asked_unready, {}, now);
    }
  }
  if (permits_fan(logic_.state()) && !is_driven()) take(Event::end_asked, {}, now);
  // A fan that is on where nobody may drive it.
  const bool on = seen_.lives && seen_.pulse && seen_.pulse->words.driven;
  const State state = logic_.state();
  if (on && !removes_power_ && (state == State::safe || state == State::tripped)) {
    take(Event::violation_0,
         same_files ? "the acquisition process drives the bench without a start" : other_files,
         now);
  }
}

// The acquisition's controlled stop, watched: it has to obey, to be heard, and to come to an end.
void GuardWatch::follow_stop(Instant now) {
  if (!is_under_way(logic_.state()) || !stop_begun_) return;
  const double passed_s = seconds(now - *stop_begun_);
  const bool driven = seen_.pulse && seen_.lives && seen_.pulse->words.driven;
  if (!is_driven() && !driven) {
    // What was asked for ends with the fan; what has tripped, with the rotor.
    const bool turns = is_latched(logic_.state()) && judge_.rotor_speed_rad_s &&
                       !(judge_.rotor_speed_rad_s() < standstill_rad_s);
    if (turns) {
      take(Event::stop_overdue, "the controlled stop is over and the rotor still turns", now);
    } else {
      take(Event::stop_finished, {}, now);
    }
    return;
  }
  const bool obeys = !permits_fan(seen_.pulse->words.state);
  if (!obeys && passed_s > options_.silence_s) {
    take(Event::stop_overdue, "the acquisition process does not stop the bench", now);
  } else if (passed_s > options_.longest_stop_s + options_.silence_s) {
    take(Event::stop_overdue, "the controlled stop was not over in time", now);
  }
}

// The acquisition is told before a slow or dead link is waited for, people after it.
void GuardWatch::take(Event event, const std::string& cause, Instant now) {
  const State before = logic_.state();
  const Action actions = logic_.take(event);
  const bool first = has(actions, Action::latch);
  if (first) {
    cause_ = cause;
    tap_.set_cause(cause);
  }
  const bool removed_before = removes_power_;
  removes_power_ = removes_power_ || has(actions, Action::remove_power);
  if (has(actions, Action::begin_controlled_stop)) stop_begun_ = now;
  if (logic_.state() != before) beat(now);
  std::optional<std::string> failure;
  if (removes_power_ && !removed_before) failure = make_safe(now);
  const std::string tail =
      failure ? fmt::format("; the safe state could not be commanded: {}", *failure) : "";
  if (first) {
    tell_("trip", cause + tail);
  } else if (is_latched(logic_.state()) && !cause.empty() && cause != cause_ &&
             cause != last_cause_ && logic_.state() != before) {
    tell_("consequence", cause + tail);
  }
  if (!cause.empty()) last_cause_ = cause;
  if (is_under_way(before) && logic_.state() == State::tripped) {
    tell_("stopped", removes_power_ ? "power is removed" + tail : "power stays on");
  }
}

std::optional<std::string> GuardWatch::make_safe(Instant now) {
  made_safe_ = now;
  return own_way_.make_safe ? own_way_.make_safe() : std::nullopt;
}

// Empty: every cause is gone, as far as a guard can see.
std::string GuardWatch::still_wrong() {
  if (is_driven()) return "the acquisition is still running: end it first";
  if (is_under_way(logic_.state())) return "the stop is not over yet";
  if (judged_ == 0) return "no samples have come since the last acquisition ended";
  if (judge_.standing) {
    const std::vector<std::string> standing = judge_.standing();
    if (!standing.empty()) {
      return fmt::format("the cause is not gone: {}", fmt::join(standing, ", "));
    }
  }
  if (own_way_.make_safe && removes_power_) {
    if (const std::optional<std::string> gone = own_way_.make_safe()) {
      return fmt::format("the guard's own way to the bench is gone: {}", *gone);
    }
  }
  return {};
}

void GuardWatch::answer_reset(Instant now) {
  const std::optional<std::string> reason = tap_.reset_asked();
  if (!reason) return;
  if (!is_latched(logic_.state())) {
    tap_.answer_reset("nothing has tripped");
    return;
  }
  const std::string wrong = still_wrong();
  if (!has(logic_.take(reset_event(wrong.empty(), true)), Action::unlatch)) {
    tap_.answer_reset(wrong);
    tell_("refused reset", fmt::format("{}: {}", *reason, wrong));
    return;
  }
  judge_ = make_judge_();
  cause_.clear();
  last_cause_.clear();
  removes_power_ = false;
  stop_begun_.reset();
  tap_.set_cause({});
  if (seen_.pulse) dealt_ = seen_.pulse->number;
  beat(now);
  tell_("reset", *reason);
  tap_.answer_reset({});
}

void GuardWatch::feed(Instant now) {
  if (!own_way_.feed || !feeds_watchdog(logic_.state()) || !present_) return;
  if (fed_ && now - *fed_ < feed_again) return;
  fed_ = now;
  if (const std::optional<std::string> cause = own_way_.feed()) {
    take(Event::violation_0, fmt::format("the guard's own way to the bench is gone: {}", *cause),
         now);
  }
}

void GuardWatch::end(Instant now) {
  const std::string cause = "the guard process was ended";
  see_who_is_there();
  if (is_driven()) {
    // Not a trip of this layer: whoever drives finds it gone.
    tap_.set_cause(cause);
    tap_.beat(now, {.activity = Activity::running,
                    .state = State::tripped,
                    .driven = false,
                    .holds_off = true});
    make_safe(now);
  }
  tell_("end", cause);
}

}  // namespace windwright::guard
