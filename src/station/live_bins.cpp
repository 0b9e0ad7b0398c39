// SPDX-License-Identifier: Apache-2.0
#include "station/live_bins.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>

namespace windwright::station {
namespace {

std::size_t slot(std::int64_t bin) {
  return static_cast<std::size_t>(bin % LiveBins::kept);
}

}  // namespace

LiveBins::LiveBins(std::size_t channels, double sample_rate_hz)
    : channels_(channels),
      sample_rate_hz_(sample_rate_hz),
      base_samples_(std::max<std::int64_t>(
          1, std::llround(std::ceil(shortest_bin_s * sample_rate_hz - 1e-9)))),
      levels_(levels) {
  for (Level& level : levels_) {
    level.bin.assign(kept, -1);
    level.count.assign(kept, 0);
    level.lowest.resize(channels * kept);
    level.highest.resize(channels * kept);
    level.sum.resize(channels * kept);
  }
}

double LiveBins::bin_s(int level) const {
  return static_cast<double>(width(level)) / sample_rate_hz_;
}

int LiveBins::level_for(double widest_bin_s) const {
  int level = 0;
  while (level + 1 < levels && bin_s(level + 1) <= widest_bin_s * (1.0 + 1e-9))
    ++level;
  return level;
}

std::int64_t LiveBins::newest_bin(int level) const {
  return end_ <= 0 ? -1 : (end_ - 1) / width(level);
}

std::int64_t LiveBins::oldest_bin(int level) const {
  return std::max<std::int64_t>(0, newest_bin(level) - kept + 1);
}

void LiveBins::open(int level, std::int64_t bin) {
  Level& there = levels_[static_cast<std::size_t>(level)];
  const std::size_t at = slot(bin);
  if (there.bin[at] == bin) return;
  there.bin[at] = bin;
  there.count[at] = 0;
  for (std::size_t channel = 0; channel < channels_; ++channel) {
    const std::size_t cell = channel * kept + at;
    there.lowest[cell] = std::numeric_limits<float>::infinity();
    there.highest[cell] = -std::numeric_limits<float>::infinity();
    there.sum[cell] = 0.0;
  }
}

void LiveBins::begin(std::int64_t first, base::UtcTime start, std::size_t samples) {
  if (end_ < 0 || first - origin_sample_ < end_) {
    for (Level& level : levels_)
      std::fill(level.bin.begin(), level.bin.end(), -1);
    origin_sample_ = first;
    origin_ = start;
    if (end_ >= 0) ++epoch_;
  }
  stretch_ = first - origin_sample_;
  end_ = stretch_ + static_cast<std::int64_t>(samples);
  for (int level = 0; level < levels; ++level) {
    const std::int64_t wide = width(level);
    Level& there = levels_[static_cast<std::size_t>(level)];
    for (std::int64_t bin = stretch_ / wide; bin <= (end_ - 1) / wide; ++bin) {
      open(level, bin);
      const std::int64_t from = std::max(stretch_, bin * wide);
      const std::int64_t to = std::min(end_, (bin + 1) * wide);
      there.count[slot(bin)] += static_cast<std::uint32_t>(to - from);
    }
  }
}

void LiveBins::fold(std::size_t channel, std::int64_t sample, std::span<const float> values) {
  float lowest = values.front();
  float highest = values.front();
  double sum = 0.0;
  for (const float value : values) {
    lowest = std::min(lowest, value);
    highest = std::max(highest, value);
    sum += static_cast<double>(value);
  }
  for (int level = 0; level < levels; ++level) {
    Level& there = levels_[static_cast<std::size_t>(level)];
    const std::size_t cell = channel * kept + slot(sample / width(level));
    there.lowest[cell] = std::min(there.lowest[cell], lowest);
    there.highest[cell] = std::max(there.highest[cell], highest);
    there.sum[cell] += sum;
  }
}

void LiveBins::take(std::size_t channel, std::span<const float> values) {
  std::int64_t sample = stretch_;
  while (!values.empty()) {
    const auto room = static_cast<std::size_t>(base_samples_ - sample % base_samples_);
    const std::size_t part = std::min(values.size(), room);
    fold(channel, sample, values.first(part));
    values = values.subspan(part);
    sample += static_cast<std::int64_t>(part);
  }
}

void LiveBins::read(int level, std::size_t channel, std::int64_t first_bin,
                    std::span<float> to) const {
  const Level& there = levels_[static_cast<std::size_t>(level)];
  const std::size_t bins = to.size() / 3;
  for (std::size_t i = 0; i < bins; ++i) {
    const std::int64_t bin = first_bin + static_cast<std::int64_t>(i);
    const std::size_t at = bin < 0 ? 0 : slot(bin);
    const std::size_t cell = channel * kept + at;
    const bool here = bin >= 0 && there.bin[at] == bin && there.count[at] > 0;
    constexpr float none = std::numeric_limits<float>::quiet_NaN();
    to[i] = here ? there.lowest[cell] : none;
    to[bins + i] = here ? there.highest[cell] : none;
    to[2 * bins + i] =
        here ? static_cast<float>(there.sum[cell] / static_cast<double>(there.count[at])) : none;
  }
}

}  // namespace windwright::station
