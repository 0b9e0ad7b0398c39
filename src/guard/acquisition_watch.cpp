// SPDX-License-Identifier: Apache-2.0
#include "guard/acquisition_watch.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "guard/configuration.h"

#include <fmt/format.h>

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <thread>

namespace windwright::guard {
namespace {

[[noreturn]] void refuse(const std::string& what, const std::string& check) {
  throw base::DeviceFault("the guard", what, check);
}

}  // namespace

AcquisitionWatch::AcquisitionWatch(const bench::Bench& bench)
    : settings_(bench.guard),
      start_command_(fmt::format("windwright guard {}", bench.file.string())),
      configuration_(configuration_of(bench)) {
  const std::string name = tap_name(bench);
  try {
    tap_ = Tap::open(name, tap_shape(bench), Side::acquisition, configuration_);
  } catch (const base::DiskFault&) {
    if (settings_.required) throw;
    return;
  }
  if (tap_) return;
  if (settings_.required || Tap::lives(name, Side::guard)) {
    refuse("watches another process that drives this bench", "end that one first");
  }
}

void AcquisitionWatch::begin(Instant now) {
  const std::optional<Pulse> pulse =
      tap_ && tap_->other_lives() ? tap_->other_pulse() : std::nullopt;
  if (!pulse) {
    if (!settings_.required) {
      tell({.activity = Activity::standing}, {}, now);
      return;
    }
    refuse("is not running, and this bench is not driven without it ([guard] required)",
           fmt::format("start `{}` in another terminal", start_command_));
  }
  if (tap_->other_configuration() != configuration_) {
    refuse(
        "works by another bench.toml, rotor or certificates than this program",
        fmt::format("what was changed; then end the guard and start `{}` again", start_command_));
  }
  if (const std::optional<Heard> heard = hear({.activity = Activity::standing}, now)) {
    refuse(fmt::format("does not let the bench be driven ({})", heard->cause),
           fmt::format("the bench; then reset it there: {} --reset REASON", start_command_));
  }
  tell({.activity = Activity::standing}, {}, now);
}

std::optional<Heard> AcquisitionWatch::hear(const Words& own, Instant now) {
  const auto silent = [](const std::string& cause) {
    return Heard{.event = Event::other_silent, .cause = cause};
  };
  const bool lives = tap_->other_lives();
  const std::optional<Pulse> pulse = tap_->other_pulse();
  if (!seen_) {
    // One that has only begun, or has ended before this program began.
    if (!lives || !pulse) return std::nullopt;
    seen_ = true;
    life_ = tap_->other_life();
  }
  if (!lives) return silent("the guard process has ended");
  // At rest it may be started anew.
  const std::uint64_t life = tap_->other_life();
  if (own.state == State::safe || own.state == State::tripped) life_ = life;
  if (!pulse || life != life_) return silent("another guard process has begun");
  const std::chrono::duration<double> unheard = now - pulse->time;
  if (unheard.count() > settings_.silence_s) {
    return silent(
        fmt::format("the guard process has been silent for {:.0f} ms", 1e3 * unheard.count()));
  }
  if (!pulse->words.content()) {
    // One that has taken power away, or wants it taken and has no way of its own, is followed at
    // once: a ramp would command the fan anew.
    const bool at_once =
        pulse->words.holds_off && (permits_fan(own.state) || own.state == State::stopping);
    return Heard{.event = at_once ? Event::violation_0 : Event::other_tripped,
                 .cause = fmt::format("the guard process: {}", tap_->other_cause())};
  }
  if (tap_->other_configuration() != configuration_) {
    return silent("the guard process works by another bench.toml, rotor or certificates");
  }
  return std::nullopt;
}

std::optional<std::string> AcquisitionWatch::runs_not(Instant now) {
  if (!tap_) return std::nullopt;
  if (const std::optional<Heard> heard = hear(last_, now)) return heard->cause;
  if (!seen_) return std::nullopt;
  const std::optional<Pulse> pulse = tap_->other_pulse();
  if (pulse && permits_fan(pulse->words.state) && pulse->time > wished_) return std::nullopt;
  const std::string cause = tap_->other_cause();
  return cause.empty() ? "the guard process does not run yet"
                       : fmt::format("the guard process does not run: {}", cause);
}

std::optional<Heard> AcquisitionWatch::look(const bench::SampleBlock& block, const Words& own,
                                            const std::string& cause, Instant now) {
  if (!tap_) return std::nullopt;
  tap_->write(block);
  tell(own, cause, now);
  return hear(own, now);
}

void AcquisitionWatch::tell(const Words& own, const std::string& cause, Instant now) {
  // The words before the heartbeat that they belong to.
  if (tap_ && !own.content() && last_.content()) tap_->set_cause(cause);
  begun_ = true;
  if (own.activity == Activity::running && last_.activity != Activity::running) wished_ = now;
  last_ = own;
  if (tap_) tap_->beat(now, own);
}

AcquisitionWatch::~AcquisitionWatch() {
  if (!tap_ || !begun_) return;
  last_.activity = Activity::ended;
  last_.driven = false;
  tap_->beat(std::chrono::steady_clock::now(), last_);
}

OtherLayer guard_process(AcquisitionWatch& watch) {
  using Clock = std::chrono::steady_clock;
  static constexpr std::chrono::milliseconds pause{1};
  return {
      .ask_to_run = [&watch](const Words& own) -> std::optional<std::string> {
        std::optional<std::string> why;
        for (const auto end = Clock::now() + longest_wish; Clock::now() < end;
             std::this_thread::sleep_for(pause)) {
          watch.tell(own, {}, Clock::now());
          why = watch.runs_not(Clock::now());
          if (!why) return std::nullopt;
        }
        return why;
      },
      .look = [&watch](
                  const bench::SampleBlock& block, const Words& own,
                  const std::string& cause) { return watch.look(block, own, cause, Clock::now()); },
      .is_there = [&watch] { return watch.is_there(); },
      .tell = [&watch](const Words& own,
                       const std::string& cause) { watch.tell(own, cause, Clock::now()); }};
}

}  // namespace windwright::guard
