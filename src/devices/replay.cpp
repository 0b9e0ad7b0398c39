// SPDX-License-Identifier: Apache-2.0
#include "devices/replay.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <thread>

namespace windwright::devices {

Replay::Replay(const bench::Bench& bench, const bench::ReplayDevice& described, twin::Pace pace)
    : recording_(described.recording),
      file_(described.recording.string()),
      name_("replay of " + recording_.device()),
      repeat_(described.repeat),
      pace_(pace),
      block_samples_(static_cast<std::size_t>(std::llround(bench.block_s * bench.sample_rate_hz))),
      begun_(std::chrono::steady_clock::now()) {
  require_same(bench);
  for (const std::string& channel : recording_.channels())
    every_.push_back(recording_.note(channel).every);
}

void Replay::require_same(const bench::Bench& bench) const {
  const auto refuse = [&](const std::string& wrong, const std::string& right) {
    throw base::BadInput(file_ + ":1", wrong, right);
  };
  if (recording_.sample_rate_hz() != bench.sample_rate_hz) {
    refuse(fmt::format("was recorded at {:g} samples a second", recording_.sample_rate_hz()),
           fmt::format("a recording of this bench, at {:g}", bench.sample_rate_hz));
  }
  if (recording_.samples() == 0) refuse("holds no samples", "a recording with samples");
  const auto& names = recording_.channels();
  for (std::size_t i = 0; i < std::max(names.size(), bench.channels.size()); ++i) {
    const std::string wanted = i < bench.channels.size() ? bench.channels[i].name : "no more";
    const std::string found = i < names.size() ? names[i] : "no more";
    if (found != wanted) {
      refuse(fmt::format("has as channel {} {}", i + 1, found),
             fmt::format("{}: a recording of this bench", wanted));
    }
    const bench::Converter recorded = recording_.note(found).converter;
    const bench::Converter& described = bench.channels[i].converter;
    if (recorded.lower_V != described.lower_V || recorded.upper_V != described.upper_V ||
        recorded.bits != described.bits) {
      refuse(fmt::format("has {} from another converter: {:g} to {:g} V, {} bits", found,
                         recorded.lower_V, recorded.upper_V, recorded.bits),
             fmt::format("{:g} to {:g} V, {} bits, as on this bench", described.lower_V,
                         described.upper_V, described.bits));
    }
  }
}

base::UtcTime Replay::time_of(std::int64_t device_sample) const {
  const double seconds = static_cast<double>(device_sample) / sample_rate_hz();
  return recording_.start() + std::chrono::nanoseconds(std::llround(seconds * 1e9));
}

void Replay::set(std::string_view actuator, double /*value*/) {
  throw base::DeviceFault(name_, fmt::format("takes no commands, and {} is one", actuator),
                          "[device] in the bench's file: kind = \"simulated\" can be driven");
}

void Replay::apply_known_input(std::string_view channel, double /*value*/) {
  throw base::DeviceFault(name_, fmt::format("knows no input at {}", channel),
                          "[device] in the bench's file: kind = \"simulated\" can be calibrated");
}

void Replay::remove_known_input() {}

void Replay::wait() const {
  if (pace_ == twin::Pace::as_fast_as_possible) return;
  std::this_thread::sleep_until(
      begun_ +
      std::chrono::duration_cast<std::chrono::steady_clock::duration>(std::chrono::duration<double>(
          static_cast<double>(read_) / (sample_rate_hz() * pace_.times))));
}

// A slow channel's sample is the mean of those since the one before it, so it is played for these
// and not, as it is shown, for those that follow: recorded again, their mean is that sample.
void Replay::put_counts(std::size_t index, std::int64_t end, std::span<std::int32_t> to) const {
  const std::string& channel = recording_.channels()[index];
  const std::int64_t every = every_[index];
  recording_.counts(channel, {.first = next_, .count = std::ssize(to)}, to);
  for (std::int64_t i = 0; every > 1 && i < std::ssize(to);) {
    const std::int64_t own = (next_ + i + every - 1) / every * every;
    const std::int64_t until = std::min(own - next_ + 1, std::ssize(to));
    if (own < end) {
      const std::int32_t mean = recording_.counts(channel, own, 1).front();
      std::fill(to.begin() + i, to.begin() + until, mean);
    }
    i = until;
  }
}

void Replay::read(bench::SampleBlock& block) {
  block.gap_before = false;
  block.received.reset();
  if (next_ == recording_.samples()) {
    if (!repeat_) {
      throw base::DeviceFault(name_, fmt::format("the recording {} ends here", file_),
                              "the time asked for, or repeat = true in [device]");
    }
    next_ = 0;
    gap_ = 0;
    ++device_sample_;  // between the end and the beginning nothing is known
    block.gap_before = true;
  }
  const auto& gaps = recording_.gaps();
  const auto before_next_gap = [&] {
    return gap_ < gaps.size() ? std::min(gaps[gap_].before_sample, recording_.samples())
                              : recording_.samples();
  };
  if (gap_ < gaps.size() && gaps[gap_].before_sample == next_) {
    const std::int64_t missed =
        gaps[gap_].device_sample -
        (gap_ == 0 ? next_ : gaps[gap_ - 1].device_sample + next_ - gaps[gap_ - 1].before_sample);
    device_sample_ += std::max<std::int64_t>(missed, 0);
    block.gap_before = true;
    ++gap_;
  }
  const std::int64_t count =
      std::min(static_cast<std::int64_t>(block_samples_), before_next_gap() - next_);
  block.first_sample = device_sample_;
  block.start = time_of(device_sample_);
  block.channels = recording_.channels().size();
  block.samples = static_cast<std::size_t>(count);
  block.counts.resize(block.channels * block.samples);
  for (std::size_t i = 0; i < block.channels; ++i) {
    put_counts(i, before_next_gap(),
               std::span(block.counts).subspan(i * block.samples, block.samples));
  }
  next_ += count;
  device_sample_ += count;
  read_ += count;
  wait();
}

}  // namespace windwright::devices
