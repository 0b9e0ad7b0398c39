// SPDX-License-Identifier: Apache-2.0
#include "guard/guard_watch.h"

#include "guard/other_layer.h"

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

constexpr std::chrono::milliseconds feed_again{100};
constexpr std::chrono::seconds longest_coasting{120};
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
      safe_(std::move(own_way.make_safe)),
      feed_(std::move(own_way.feed)),
      tell_(std::move(tell)),
      judge_(make_judge_()),
      logic_(options_.tripped.empty() ? State::safe : State::tripped),
      cause_(options_.tripped),
      removes_power_(!options_.tripped.empty()) {
  seen_.life = tap_.other_life();
  // What a process left that has ended before this one began is not this one's.
  if (const std::optional<Pulse> pulse = tap_.other_pulse(); pulse && !tap_.other_lives())
    dealt_ = pulse->number;
  if (!cause_.empty()) tap_.set_cause(cause_);
}

// The order of the sources is the model's: device, interlocks, the other layer, people, the stop.
void GuardWatch::look(Instant now) {
  see_who_is_there(now);
  judge_blocks(now);
  listen(now);
  tell_who_is_there();
  hear_of_safe_state();
  follow_wishes(now);
  follow_stop(now);
  watch_the_rotor(now);
  if (!seen_.lives) make_safe_behind_a_drive(now);
  make_safe_again(now);
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
void GuardWatch::see_who_is_there(Instant now) {
  const std::uint64_t life_before = seen_.life;
  const bool was_present = present_;
  seen_.lives = tap_.other_lives();
  seen_.pulse = tap_.other_pulse();
  seen_.life = tap_.other_life();
  present_ = seen_.lives && seen_.pulse;
  const bool another = seen_.life != life_before;
  if (was_present && (another || !present_)) keep_followers();
  if (another) {
    dealt_ = 0;
    forget_feed();
    if (tap_.last_died() >= life_before && tap_.last_died() > 0)
      take(Event::other_silent, "the acquisition process died", now);
    // What the one before was allowed is not this one's.
    if (!is_latched(logic_.state())) {
      take(Event::end_asked, {}, now);
      take(Event::stop_finished, {}, now);
    }
    make_safe_behind_a_drive(now);
  }
  has_driven_ = has_driven_ || is_driven();
  if (!std::exchange(has_looked_, true) && is_driven()) {
    joins_until_ = now + longest_wish +
                   std::chrono::duration_cast<Instant::duration>(
                       std::chrono::duration<double>(options_.block_s + options_.silence_s));
  }
  if (present_ && judge_life_ != seen_.life) judge_anew(seen_.life);
}

void GuardWatch::keep_followers() {
  if (std::exchange(kept_life_, judge_life_) == judge_life_) return;
  if (!is_latched(logic_.state()) || !judge_.followers) return;
  if (const std::string followers = judge_.followers(); !followers.empty()) followers_ = followers;
}

void GuardWatch::judge_anew(std::uint64_t life) {
  keep_followers();
  judge_ = make_judge_();
  judge_life_ = life;
  judged_.reset();
}

// After what is urgent.
void GuardWatch::tell_who_is_there() {
  const std::uint64_t here = present_ ? seen_.life : 0;
  const std::uint64_t before = std::exchange(told_life_, here);
  if (here == before) return;
  if (before != 0) {
    if (const std::string followers = std::exchange(followers_, {}); !followers.empty())
      tell_("followers", followers);
    std::string text = "has ended";
    if (const std::uint64_t missed = std::exchange(missed_, 0); missed > 0)
      text += fmt::format("; {} of its blocks were overwritten before they were judged", missed);
    tell_("acquisition", text);
  }
  if (here != 0) tell_("acquisition", "has begun");
}

void GuardWatch::judge_blocks(Instant now) {
  while (tap_.read(block_)) {
    // Written before the heartbeat by which it is seen, or left behind by the one before.
    if (tap_.block_life() != judge_life_) judge_anew(tap_.block_life());
    if (judge_life_ >= seen_.life) judged_ = now;
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
    take(joins(now) ? Event::violation_0 : Event::other_silent, *cause, now);
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

bool GuardWatch::joins(Instant now) const {
  return logic_.state() == State::safe && joins_until_ && now < *joins_until_;
}

bool GuardWatch::is_on() const {
  return seen_.pulse && seen_.lives && seen_.pulse->words.driven;
}

// The guard is the first to run and the last to end.
void GuardWatch::follow_wishes(Instant now) {
  const bool same_files = tap_.other_configuration() == options_.configuration;
  const bool wanted = is_driven() && seen_.pulse->words.content() && same_files &&
                      seconds(now - seen_.pulse->time) <= options_.silence_s;
  if (logic_.state() == State::safe && wanted) {
    const std::vector<std::string> causes = standing(now);
    if (causes.empty()) {
      tap_.set_cause({});
      take(Event::start_asked, {}, now);
    } else {
      tap_.set_cause(fmt::format("not started while it stands: {}", fmt::join(causes, ", ")));
      take(Event::start_asked_unready, {}, now);
    }
  }
  if (permits_fan(logic_.state()) && !is_driven()) take(Event::end_asked, {}, now);
  // A fan that is on where nobody may drive it. A guard that is started last has to look first.
  const State state = logic_.state();
  if (is_on() && !joins(now) && !removes_power_ &&
      (state == State::safe || state == State::tripped)) {
    take(Event::violation_0,
         same_files ? "the acquisition process drives the bench without a start" : other_files,
         now);
  }
}

// The acquisition's controlled stop, watched: it has to obey, to be heard, and to come to an end.
void GuardWatch::follow_stop(Instant now) {
  if (!is_under_way(logic_.state()) || !stop_begun_) return;
  const double passed_s = seconds(now - *stop_begun_);
  if (!is_driven() && !is_on()) {
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

// Nobody reads back what an actuator is set to: a fan that runs on behind its stop shows in the
// rotor. Not before a drive: what turns it then is not this acquisition's.
void GuardWatch::watch_the_rotor(Instant now) {
  const State state = logic_.state();
  const bool rests = state == State::tripped || (state == State::safe && has_driven_);
  const bool seen = present_ && judged_ && seconds(now - *judged_) <= options_.silence_s;
  if (!rests || !seen || !judge_.rotor_speed_rad_s ||
      judge_.rotor_speed_rad_s() < standstill_rad_s) {
    turns_.reset();
    return;
  }
  if (!turns_) turns_ = now;
  if (now - *turns_ < longest_coasting) return;
  turns_ = now;
  const std::string cause =
      fmt::format("the rotor still turns after {} s with nothing to drive it: is the fan off?",
                  longest_coasting.count());
  if (state == State::tripped) tell_("fault", cause);
  take(Event::violation_0, cause, now);
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
  if (removes_power_ && !removed_before) removal_ = safe_.give(now);
  if (first) {
    tell_("trip", cause);
  } else if (is_latched(logic_.state()) && !cause.empty() && cause != cause_ &&
             cause != last_cause_ && logic_.state() != before) {
    tell_("consequence", cause);
  }
  if (!cause.empty()) last_cause_ = cause;
  if (is_under_way(before) && logic_.state() == State::tripped) tell_stopped();
}

void GuardWatch::tell_stopped() {
  if (!removes_power_) {
    tell_("stopped", "power stays on");
  } else if (safe_.exists()) {
    power_goes_ = removal_;
  } else {
    tell_("stopped", "power is left to the acquisition process and the device to remove");
  }
}

// A stop that waits for the answer to its command is told with that.
void GuardWatch::hear_of_safe_state() {
  const std::optional<SafeCommand::News> news = safe_.news();
  if (!news) return;
  if (news->failure && !news->failed_before)
    tell_("fault", "the safe state could not be commanded: " + *news->failure);
  if (!news->failure && news->failed_before) tell_("fault", "over: the safe state is commanded");
  if (!power_goes_ || !safe_.has_heard_of(*power_goes_)) return;
  power_goes_.reset();
  tell_("stopped", news->failure ? "power is not known to be removed" : "power is removed");
}

// Behind the end of a drive only until it is known to have come through.
void GuardWatch::make_safe_again(Instant now) {
  const bool failed_at_rest = safe_.has_failed() && logic_.state() == State::safe && !is_driven();
  if ((removes_power_ || failed_at_rest) && safe_.is_due(now)) safe_.give(now);
}

std::string GuardWatch::nothing_to_judge_by(Instant now, std::chrono::seconds paused) const {
  if (!judged_) return "no samples have come since the last acquisition ended";
  const double old_s = seconds(now - *judged_);
  if (old_s <= options_.silence_s + options_.block_s + seconds(paused)) return {};
  return fmt::format("the last samples are {:.1f} s old", old_s);
}

// Empty: every cause is gone, as far as a guard can see.
std::string GuardWatch::still_wrong(Instant now) {
  if (is_driven()) return "the acquisition is still running: end it first";
  if (is_under_way(logic_.state())) return "the stop is not over yet";
  if (const std::string blind = nothing_to_judge_by(now, {}); !blind.empty()) return blind;
  if (judge_.standing) {
    if (const std::vector<std::string> causes = judge_.standing(); !causes.empty())
      return fmt::format("the cause is not gone: {}", fmt::join(causes, ", "));
  }
  return removes_power_ ? safe_.doubt(removal_) : std::string();
}

void GuardWatch::answer_reset(Instant now) {
  const std::optional<std::string> reason = tap_.reset_asked();
  if (!reason) return;
  if (!is_latched(logic_.state())) {
    tap_.answer_reset("nothing has tripped");
    return;
  }
  const std::string wrong = still_wrong(now);
  if (!has(logic_.take(reset_event(wrong.empty(), true)), Action::unlatch)) {
    tap_.answer_reset(wrong);
    tell_("refused reset", fmt::format("{}: {}", *reason, wrong));
    return;
  }
  if (kept_life_ != judge_life_ && judge_.followers) {
    if (const std::string followers = judge_.followers(); !followers.empty())
      tell_("followers", followers);
  }
  judge_ = make_judge_();
  power_goes_.reset();
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

void GuardWatch::forget_feed() {
  way_is_gone_.reset();
  way_is_tried_ = false;
  heard_feed_.reset();
  fed_.reset();
}

void GuardWatch::feed(Instant now) {
  if (!feed_.ask) return;
  if (!feeds_watchdog(logic_.state()) || !present_) {
    forget_feed();
    return;
  }
  if (!fed_ || now - *fed_ >= feed_again) {
    fed_ = now;
    const std::uint64_t number = feed_.ask();
    if (!heard_feed_) heard_feed_ = number - 1;
  }
  const Outcome outcome = feed_.outcome();
  if (!heard_feed_ || outcome.number <= *heard_feed_) return;
  heard_feed_ = outcome.number;
  const bool was_gone = way_is_gone_.has_value();
  way_is_tried_ = true;
  way_is_gone_ = outcome.failure;
  if (!way_is_gone_) return;
  const std::string cause =
      fmt::format("the guard's own way to the bench is gone: {}", *way_is_gone_);
  // At rest it is a fault, and keeps the bench from being started; driven, a trip.
  if (logic_.state() != State::safe) {
    take(Event::violation_0, cause, now);
  } else if (!was_gone) {
    tell_("fault", cause);
  }
}

std::vector<std::string> GuardWatch::standing(Instant now) const {
  std::vector<std::string> causes =
      judge_.standing ? judge_.standing() : std::vector<std::string>();
  if (const std::string blind = nothing_to_judge_by(now, longest_wish); !blind.empty())
    causes.push_back(blind);
  if (way_is_gone_) causes.push_back("the guard's own way to the bench (" + *way_is_gone_ + ")");
  if (feed_.ask && !way_is_tried_)
    causes.emplace_back("the guard's own way to the bench, which has not been tried yet");
  // One that is on its way would stop a bench that was started since, and nobody would know why.
  if (const std::string doubt = safe_.doubt(safe_.last_given()); !doubt.empty())
    causes.push_back(doubt);
  return causes;
}

// However a drive has ended, and whatever its end says of itself; power that stays on behind a stop
// of category 2 stays.
void GuardWatch::make_safe_behind_a_drive(Instant now) {
  if (std::exchange(has_driven_, false) && logic_.state() == State::safe) safe_.give(now);
}

void GuardWatch::end(Instant now) {
  const std::string cause = "the guard process was ended";
  see_who_is_there(now);
  const State state = logic_.state();
  const bool left_driven = has_driven_ && !seen_.lives;
  if (is_driven() || is_on() || left_driven || permits_fan(state) || is_under_way(state) ||
      removes_power_) {
    // Not a trip of this layer: whoever drives finds it gone.
    tap_.set_cause(cause);
    tap_.beat(now, {.activity = Activity::running,
                    .state = State::tripped,
                    .driven = false,
                    .holds_off = true});
    safe_.give(now);
  }
  tell_("end", cause);
}

bool GuardWatch::is_answered() {
  hear_of_safe_state();
  return !safe_.exists() || safe_.has_heard_of(safe_.last_given());
}

bool GuardWatch::is_left_safe() const {
  return safe_.doubt(safe_.last_given()).empty();
}

}  // namespace windwright::guard
