// SPDX-License-Identifier: Apache-2.0
#include "guard/interlocks.h"

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/interlock.h"
#include "metrology/certificate.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

using bench::Interlock;
using Kind = Interlock::Kind;

constexpr int no_stop = 3;
constexpr double look_at_disk_every_s = 1.0;
constexpr double bytes_per_MB = 1e6;

std::int32_t top_count(const bench::Converter& converter) {
  return static_cast<std::int32_t>(std::exp2(converter.bits)) - 1;
}

bool all_are(std::span<const std::int32_t> counts, std::int32_t count) {
  return std::all_of(counts.begin(), counts.end(), [count](auto each) { return each == count; });
}

}  // namespace

std::string in_words(const Trip& trip) {
  std::string words = trip.cause;
  if (!trip.check.empty()) words += "; next: " + trip.check;
  if (!trip.priority.empty())
    words += fmt::format("; priority {}, respond {}", trip.priority, trip.respond);
  return words;
}

std::string in_words(const std::vector<Follower>& followers) {
  std::string words;
  for (const Follower& each : followers) {
    words += fmt::format("{}{}", words.empty() ? "followed by " : ", ", each.interlock);
    if (each.times > 1) words += fmt::format(" ({} times)", each.times);
  }
  return words;
}

Interlocks::Interlocks(const bench::Bench& bench, std::vector<metrology::Certificate> certificates,
                       Options options)
    : bench_(bench),
      certificates_(std::move(certificates)),
      options_(std::move(options)),
      values_(bench.channels.size()),
      states_(bench.interlocks.size()),
      last_count_(bench.interlocks.size(), -1) {
  for (const std::string& name : options_.also)
    watched_.push_back(bench.channel_index(name));
  for (const Interlock& interlock : bench.interlocks) {
    if (!interlock.channel.empty()) watched_.push_back(bench.channel_index(interlock.channel));
    if (!interlock.with.empty()) watched_.push_back(bench.channel_index(interlock.with));
  }
  std::sort(watched_.begin(), watched_.end());
  watched_.erase(std::unique(watched_.begin(), watched_.end()), watched_.end());
}

void Interlocks::take_values(const bench::SampleBlock& block) {
  for (const std::size_t index : watched_) {
    std::vector<double>& values = values_[index];
    values.resize(block.samples);
    const auto counts = block.channel(index);
    std::transform(counts.begin(), counts.end(), values.begin(), [&](std::int32_t count) {
      return bench::volts(bench_.channels[index].converter, count);
    });
    metrology::values_of(certificates_[index], values, values);
  }
}

std::span<const double> Interlocks::values(std::string_view channel) const {
  return values_[bench_.channel_index(channel)];
}

double Interlocks::judged_value(const Interlock& interlock) const {
  double value = signal::mean(values(interlock.channel));
  if (!interlock.with.empty()) value -= interlock.factor * signal::mean(values(interlock.with));
  return value;
}

bool Interlocks::is_at_end(const bench::SampleBlock& block, std::size_t channel, bool upper) const {
  return all_are(block.channel(channel), upper ? top_count(bench_.channels[channel].converter) : 0);
}

// What lies behind the end of a converter is not known, and counts as beyond the bound there.
bool Interlocks::is_out_of_bounds(const Interlock& interlock, bool tightened,
                                  const bench::SampleBlock& block) const {
  const double margin = tightened ? interlock.hysteresis : 0.0;
  const double value = judged_value(interlock);
  if (!(value <= interlock.highest - margin && value >= interlock.lowest + margin)) return true;
  const std::size_t channel = bench_.channel_index(interlock.channel);
  return is_at_end(block, channel, true) ||
         (std::isfinite(interlock.lowest) && is_at_end(block, channel, false));
}

bool Interlocks::is_stuck(std::size_t index, const bench::SampleBlock& block) {
  const auto counts = block.channel(bench_.channel_index(bench_.interlocks[index].channel));
  const bool constant = all_are(counts, counts.front());
  const bool as_before = last_count_[index] < 0 || counts.front() == last_count_[index];
  last_count_[index] = constant ? counts.front() : -1;
  return constant && as_before;
}

double Interlocks::clock_step_s(const bench::SampleBlock& block) const {
  if (!last_) return 0.0;
  const double counted_s =
      static_cast<double>(block.first_sample - last_->sample) / bench_.sample_rate_hz;
  return std::chrono::duration<double>(block.start - last_->start).count() - counted_s;
}

double Interlocks::free_MB(const bench::SampleBlock& block) {
  looked_ago_s_ += static_cast<double>(block.samples) / bench_.sample_rate_hz;
  if (looked_ago_s_ < look_at_disk_every_s) return free_MB_;
  looked_ago_s_ = 0.0;
  std::error_code unknown;
  const auto space = std::filesystem::space(options_.folder, unknown);
  free_MB_ = unknown ? 0.0 : static_cast<double>(space.available) / bytes_per_MB;
  return free_MB_;
}

bool Interlocks::is_violated(std::size_t index, const bench::SampleBlock& block) {
  const Interlock& interlock = bench_.interlocks[index];
  const State& state = states_[index];
  switch (interlock.kind) {
    case Kind::bound:
      return is_out_of_bounds(interlock, state.standing || state.held_s > 0.0, block);
    case Kind::lost: {
      const std::size_t channel = bench_.channel_index(interlock.channel);
      return is_at_end(block, channel, true) || is_at_end(block, channel, false) ||
             !std::isfinite(signal::mean(values(interlock.channel)));
    }
    case Kind::stuck:
      return is_stuck(index, block);
    case Kind::clock:
      return std::abs(clock_step_s_) > interlock.highest;
    case Kind::disk:
      return !options_.folder.empty() && free_MB(block) < interlock.lowest;
  }
  return true;
}

void Interlocks::describe(const Interlock& interlock, const bench::SampleBlock& block,
                          Trip& trip) const {
  const auto seen = [&]() -> std::string {
    switch (interlock.kind) {
      case Kind::bound:
        break;
      case Kind::lost:
        trip.seen = "lost";
        return fmt::format("{} stands at the end of its converter", interlock.channel);
      case Kind::stuck:
        trip.seen = "stuck";
        return fmt::format("{} has not moved by one count for {:.4g} s", interlock.channel,
                           interlock.hold_s);
      case Kind::clock:
        trip.seen = "clock";
        trip.value = clock_step_s_;
        return fmt::format("the device's time steps by {:.4g} s", clock_step_s_);
      case Kind::disk:
        trip.seen = "disk";
        trip.value = free_MB_;
        return fmt::format("the disk has room for {:.4g} MB, less than {}", free_MB_,
                           interlock.lowest);
    }
    const std::size_t channel = bench_.channel_index(interlock.channel);
    const bool upper = is_at_end(block, channel, true);
    if (upper || (std::isfinite(interlock.lowest) && is_at_end(block, channel, false))) {
      trip.seen = upper ? "upper_end" : "lower_end";
      return fmt::format("{} stands at the {} end of its converter, so its value is unknown",
                         interlock.channel, upper ? "upper" : "lower");
    }
    const double value = judged_value(interlock);
    const std::string what = interlock.with.empty()
                                 ? interlock.channel
                                 : fmt::format("{} less {:.4g} times {}", interlock.channel,
                                               interlock.factor, interlock.with);
    const bool below = value < interlock.lowest + interlock.hysteresis;
    trip.seen = below ? "below" : "above";
    trip.value = value;
    return fmt::format("{} is {:.4g} {}, {} {}", what, value, bench_.channels[channel].unit,
                       below ? "below" : "above", below ? interlock.lowest : interlock.highest);
  };
  trip.cause = fmt::format("interlock '{}': {}: {}", interlock.name, seen(), interlock.cause);
}

std::optional<Trip> Interlocks::judge(const bench::SampleBlock& block) {
  if (block.samples == 0) throw std::logic_error("a block without samples is judged");
  take_values(block);
  clock_step_s_ = clock_step_s(block);
  last_ = {.sample = block.first_sample, .start = block.start};
  const double block_s = static_cast<double>(block.samples) / bench_.sample_rate_hz;
  const Interlock* hardest = nullptr;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    State& state = states_[i];
    if (!is_violated(i, block)) {
      state.held_s = 0.0;
      state.standing = false;
      continue;
    }
    state.held_s += block_s;
    // A hold time of nought trips at the first block, another when it has gone by.
    const bool stood = state.standing;
    state.standing = stood || state.held_s > bench_.interlocks[i].hold_s;
    if (!state.standing) continue;
    if (!stood) ++state.times;
    const Interlock& interlock = bench_.interlocks[i];
    if (hardest == nullptr || interlock.stop_category < hardest->stop_category)
      hardest = &interlock;
  }
  if (hardest == nullptr || hardest->stop_category >= category_) return std::nullopt;
  category_ = hardest->stop_category;
  Trip trip{.interlock = hardest->name,
            .stop_category = hardest->stop_category,
            .cause = {},
            .check = hardest->check,
            .time = block.start,
            .priority = std::string(name(hardest->priority)),
            .consequence = std::string(name(hardest->consequence)),
            .respond = hardest->respond};
  describe(*hardest, block, trip);
  if (!first_out_) first_out_ = trip;
  return trip;
}

std::vector<Follower> Interlocks::followers() const {
  std::vector<Follower> followers;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    const bool is_first = first_out_ && first_out_->interlock == bench_.interlocks[i].name;
    const int times = states_[i].times - (is_first ? 1 : 0);
    if (times > 0) followers.push_back({.interlock = bench_.interlocks[i].name, .times = times});
  }
  return followers;
}

std::vector<std::string> Interlocks::standing() const {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < states_.size(); ++i) {
    if (states_[i].standing) names.push_back(bench_.interlocks[i].name);
  }
  return names;
}

bool Interlocks::reset() {
  const bool stands = std::any_of(states_.begin(), states_.end(),
                                  [](const State& state) { return state.standing; });
  if (stands) return false;
  for (State& state : states_)
    state.times = 0;
  first_out_.reset();
  category_ = no_stop;
  return true;
}

}  // namespace windwright::guard
