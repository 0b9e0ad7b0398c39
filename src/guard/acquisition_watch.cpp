// SPDX-License-Identifier: Apache-2.0
#include "guard/acquisition_watch.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "guard/configuration.h"

#include <fmt/format.h>

#include <chrono>
#include <optional>
#include <string>

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
      stand(now);
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
  if (const std::optional<std::string> cause = guard_fails(now)) {
    refuse(fmt::format("does not let the bench be driven ({})", *cause),
           fmt::format("the bench; then reset it there: {} --reset REASON", start_command_));
  }
  stand(now);
}

std::optional<std::string> AcquisitionWatch::guard_fails(Instant now) {
  const bool lives = tap_->other_lives();
  const std::optional<Pulse> pulse = tap_->other_pulse();
  if (!seen_) {
    // One that has only begun, or has ended before this program began.
    if (!lives || !pulse) return std::nullopt;
    seen_ = true;
  }
  if (!lives) return "the guard process has ended";
  if (!pulse) return "another guard process has begun";
  const std::chrono::duration<double> silent = now - pulse->time;
  if (silent.count() > settings_.silence_s) {
    return fmt::format("the guard process has been silent for {:.0f} ms", 1e3 * silent.count());
  }
  if (!pulse->content) return fmt::format("the guard process: {}", tap_->other_cause());
  if (tap_->other_configuration() != configuration_) {
    return "the guard process works by another bench.toml, rotor or certificates";
  }
  return std::nullopt;
}

std::optional<std::string> AcquisitionWatch::look(const bench::SampleBlock& block,
                                                  const std::optional<std::string>& own_cause,
                                                  Instant now) {
  if (!tap_) return own_cause;
  tap_->write(block);
  std::optional<std::string> cause = own_cause;
  if (!cause) cause = guard_fails(now);
  if (cause) tap_->set_cause(*cause);
  content_ = !cause;
  tap_->beat(now, Activity::running, content_);
  return cause;
}

void AcquisitionWatch::stand(Instant now) {
  begun_ = true;
  if (tap_) tap_->beat(now, Activity::standing, content_);
}

void AcquisitionWatch::drive(Instant now) {
  if (tap_) tap_->beat(now, Activity::running, content_);
}

AcquisitionWatch::~AcquisitionWatch() {
  if (tap_ && begun_) tap_->beat(std::chrono::steady_clock::now(), Activity::ended, content_);
}

}  // namespace windwright::guard
