// SPDX-License-Identifier: Apache-2.0
#include "acquisition/ring.h"

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::acquisition {
namespace {

constexpr int narrow_bits = 16;
constexpr std::int64_t saved_at_once = 1 << 14;
constexpr double usual_block_s = 0.05;  // of shorter blocks the oldest times are forgotten

}  // namespace

Ring::Ring(const bench::Bench& bench, std::string device, double seconds)
    : bench_(bench),
      device_(std::move(device)),
      capacity_(std::max<std::int64_t>(1, std::llround(std::ceil(seconds * bench.sample_rate_hz)))),
      narrow_(bench.channels.size()),
      wide_(bench.channels.size()),
      arrivals_(
          static_cast<std::size_t>(std::ceil(static_cast<double>(capacity_) / bench.sample_rate_hz /
                                             std::min(bench.block_s, usual_block_s))) +
          1) {
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    const auto size = static_cast<std::size_t>(capacity_);
    if (bench.channels[i].converter.bits <= narrow_bits) {
      narrow_[i].resize(size);
    } else {
      wide_[i].resize(size);
    }
  }
}

std::int64_t Ring::first() const {
  return std::max<std::int64_t>(0, end_ - capacity_);
}

void Ring::store(std::size_t channel, std::int64_t at, std::span<const std::int32_t> counts) {
  for (std::size_t done = 0; done < counts.size();) {
    const std::int64_t place = (at + static_cast<std::int64_t>(done)) % capacity_;
    const auto room = static_cast<std::size_t>(capacity_ - place);
    const auto some = counts.subspan(done, std::min(room, counts.size() - done));
    if (narrow_[channel].empty()) {
      std::copy(some.begin(), some.end(), wide_[channel].begin() + place);
    } else {
      std::transform(some.begin(), some.end(), narrow_[channel].begin() + place,
                     [](std::int32_t count) { return static_cast<std::uint16_t>(count); });
    }
    done += some.size();
  }
}

void Ring::append(const bench::SampleBlock& block) {
  const auto samples = static_cast<std::int64_t>(block.samples);
  if (runs_.empty() || block.gap_before) {
    runs_.push_back({.first = end_, .device_sample = block.first_sample, .start = block.start});
  }
  const std::int64_t skipped = std::max<std::int64_t>(0, samples - capacity_);
  for (std::size_t i = 0; i < block.channels; ++i)
    store(i, end_ + skipped, block.channel(i).subspan(static_cast<std::size_t>(skipped)));
  end_ += samples;
  if (block.received && samples > 0)
    arrivals_[arrived_++ % arrivals_.size()] = {.sample = end_ - 1, .received = *block.received};
  while (runs_.size() > 1 && runs_[1].first <= first())
    runs_.erase(runs_.begin());
}

void Ring::load(std::size_t channel, const recording::Window& window, std::int32_t* to) const {
  for (std::int64_t i = 0; i < window.count; ++i) {
    const auto place = static_cast<std::size_t>((window.first + i) % capacity_);
    to[i] = narrow_[channel].empty() ? wide_[channel][place]
                                     : static_cast<std::int32_t>(narrow_[channel][place]);
  }
}

base::UtcTime Ring::time_of(std::int64_t sample) const {
  const auto run = std::prev(std::upper_bound(
      runs_.begin(), runs_.end(), sample,
      [](std::int64_t wanted, const Run& candidate) { return wanted < candidate.first; }));
  return run->start + std::chrono::nanoseconds(std::llround(
                          static_cast<double>(sample - run->first) / bench_.sample_rate_hz * 1e9));
}

std::vector<Ring::Arrival> Ring::arrivals_in(std::int64_t from, std::int64_t to) const {
  std::vector<Arrival> found;
  for (std::size_t i = arrived_ - std::min(arrived_, arrivals_.size()); i < arrived_; ++i) {
    const Arrival& arrival = arrivals_[i % arrivals_.size()];
    if (arrival.sample >= from && arrival.sample < to) found.push_back(arrival);
  }
  return found;
}

std::filesystem::path next_trip_recording(const std::filesystem::path& folder) {
  std::filesystem::path file;
  for (int number = 1; file.empty() || std::filesystem::exists(file); ++number)
    file = folder / fmt::format("trip-{:03}.h5", number);
  return file;
}

recording::Window Ring::save(const std::filesystem::path& file,
                             const recording::Window& window) const {
  const std::int64_t from = std::max(window.first, first());
  const std::int64_t to = std::max(from, std::min(window.first + window.count, end_));
  if (from == to) return {.first = from, .count = 0};
  recording::Recorder recorder =
      recording::Recorder::create(file, bench_, {.device = device_, .start = time_of(from)});
  const std::vector<Arrival> arrivals = arrivals_in(from, to);
  auto arrival = arrivals.begin();
  bench::SampleBlock block;
  block.channels = bench_.channels.size();
  for (std::size_t run = 0; run < runs_.size(); ++run) {
    const std::int64_t until = run + 1 < runs_.size() ? std::min(to, runs_[run + 1].first) : to;
    for (std::int64_t at = std::max(from, runs_[run].first); at < until;) {
      std::int64_t count = std::min(saved_at_once, until - at);
      // A block's time is that of its last sample.
      block.received.reset();
      if (arrival != arrivals.end() && arrival->sample < at + count) {
        count = arrival->sample + 1 - at;
        block.received = (arrival++)->received;
      }
      block.samples = static_cast<std::size_t>(count);
      block.counts.resize(block.channels * block.samples);
      block.first_sample = runs_[run].device_sample + at - runs_[run].first;
      block.gap_before = at == runs_[run].first && at > from;
      for (std::size_t i = 0; i < block.channels; ++i)
        load(i, {.first = at, .count = count}, block.counts.data() + i * block.samples);
      recorder.append(block);
      at += count;
    }
  }
  recorder.finish();
  return {.first = from, .count = to - from};
}

}  // namespace windwright::acquisition
