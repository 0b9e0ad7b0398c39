// SPDX-License-Identifier: Apache-2.0
#include "guard/guard_watch.h"

#include <fmt/format.h>

#include <chrono>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::guard {
namespace {

constexpr std::chrono::milliseconds make_safe_again{500};
constexpr std::chrono::milliseconds feed_again{100};

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
      tripped_(options_.tripped) {
  // What a process left that has ended before this one began is not this one's.
  if (const std::optional<Pulse> pulse = tap_.other_pulse(); pulse && !tap_.other_lives())
    dealt_ = pulse->number;
  if (!tripped_.empty()) tap_.set_cause(tripped_);
}

void GuardWatch::look(Instant now) {
  see_who_is_there();
  judge_blocks(now);
  if (const std::optional<std::string> cause = acquisition_fails(now)) trip(*cause, now);
  if (!tripped_.empty() && (!made_safe_ || now - *made_safe_ >= make_safe_again)) make_safe(now);
  answer_reset();
  tap_.beat(now, Activity::running, tripped_.empty());
  feed(now);
}

// What an acquisition's blocks are judged by does not remember the one before it.
void GuardWatch::see_who_is_there() {
  const bool was_present = std::exchange(present_, tap_.other_lives() && tap_.other_pulse());
  if (present_ == was_present) return;
  if (present_) judge_ = make_judge_();
  std::string text = present_ ? "has begun" : "has ended";
  if (const std::uint64_t missed = std::exchange(missed_, 0); missed > 0)
    text += fmt::format("; {} of its blocks were overwritten before they were judged", missed);
  tell_("acquisition", text);
}

void GuardWatch::judge_blocks(Instant now) {
  while (tap_.read(block_)) {
    if (const std::optional<std::string> cause = judge_(block_)) trip(*cause, now);
  }
  missed_ += tap_.missed();
}

std::optional<std::string> GuardWatch::acquisition_fails(Instant now) {
  const bool lives = tap_.other_lives();
  const std::optional<Pulse> pulse = tap_.other_pulse();
  if (!pulse || pulse->number <= dealt_) return std::nullopt;
  if (!lives) {
    dealt_ = pulse->number;
    if (pulse->activity != Activity::ended) return "the acquisition process died";
  }
  if (!pulse->content) return fmt::format("the acquisition process: {}", tap_.other_cause());
  if (tap_.other_configuration() != options_.configuration) {
    return "the acquisition process works by another bench.toml, rotor or certificates";
  }
  const std::chrono::duration<double> silent = now - pulse->time;
  if (pulse->activity == Activity::running && silent.count() > options_.silence_s) {
    return fmt::format("the acquisition process has been silent for {:.0f} ms",
                       1e3 * silent.count());
  }
  return std::nullopt;
}

void GuardWatch::trip(const std::string& cause, Instant now) {
  if (!tripped_.empty()) return;
  // The acquisition is told before a slow or dead link is waited for.
  tripped_ = cause;
  tap_.set_cause(cause);
  tap_.beat(now, Activity::running, false);
  const std::optional<std::string> failure = make_safe(now);
  tell_("trip", failure
                    ? fmt::format("{}; the safe state could not be commanded: {}", cause, *failure)
                    : cause);
}

std::optional<std::string> GuardWatch::make_safe(Instant now) {
  made_safe_ = now;
  return own_way_.make_safe ? own_way_.make_safe() : std::nullopt;
}

void GuardWatch::answer_reset() {
  const std::optional<std::string> reason = tap_.reset_asked();
  if (!reason) return;
  const std::optional<Pulse> pulse = tap_.other_pulse();
  if (tripped_.empty()) {
    tap_.answer_reset("nothing has tripped");
    return;
  }
  if (tap_.other_lives() && pulse && pulse->activity == Activity::running) {
    tap_.answer_reset("the acquisition is still running: end it first");
    tell_("refused reset", *reason);
    return;
  }
  judge_ = make_judge_();
  tripped_.clear();
  tap_.set_cause({});
  if (pulse) dealt_ = pulse->number;
  tell_("reset", *reason);
  tap_.answer_reset({});
}

void GuardWatch::feed(Instant now) {
  if (!own_way_.feed || !tripped_.empty() || !present_) return;
  if (fed_ && now - *fed_ < feed_again) return;
  fed_ = now;
  if (const std::optional<std::string> cause = own_way_.feed()) {
    trip(fmt::format("the guard's own way to the bench is gone: {}", *cause), now);
  }
}

void GuardWatch::end(Instant now) {
  const std::optional<Pulse> pulse = tap_.other_pulse();
  const std::string cause = "the guard process was ended";
  if (tap_.other_lives() && pulse && pulse->activity == Activity::running) {
    tap_.set_cause(cause);
    tap_.beat(now, Activity::running, false);
    make_safe(now);
  }
  tell_("end", cause);
}

}  // namespace windwright::guard
