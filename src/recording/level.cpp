// SPDX-License-Identifier: Apache-2.0
#include "recording/level.h"

#include "recording/piece_sums.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace windwright::recording {

Row row_of(const PieceSums& piece) {
  constexpr double n = piece_samples;
  const std::uint64_t sum = piece.sum;
  // Exact: both products stay below 2^48.
  const auto n2_variance = static_cast<double>(piece_samples * piece.squares - sum * sum);
  return {.lowest = static_cast<double>(piece.lowest),
          .highest = static_cast<double>(piece.highest),
          .mean = static_cast<double>(sum) / n,
          .deviation = std::sqrt(n2_variance) / n};
}

Row row_of(std::span<const std::int32_t> counts) {
  // In one pass about the first count: distances are whole numbers, so the sums of up to 2^18
  // samples of 16 bits are exact.
  const std::int64_t origin = counts.front();
  std::int64_t lowest = 0;
  std::int64_t highest = 0;
  std::int64_t sum = 0;
  double squares = 0.0;
  for (const std::int32_t count : counts) {
    const std::int64_t x = count - origin;
    lowest = std::min(lowest, x);
    highest = std::max(highest, x);
    sum += x;
    squares += static_cast<double>(x * x);
  }
  const auto n = static_cast<double>(counts.size());
  const double mean = static_cast<double>(sum) / n;
  return {.lowest = static_cast<double>(origin + lowest),
          .highest = static_cast<double>(origin + highest),
          .mean = static_cast<double>(origin) + mean,
          .deviation = std::sqrt(std::max(0.0, squares / n - mean * mean))};
}

void Merge::add(const Row& row, std::int64_t samples) {
  const auto added = static_cast<double>(samples);
  if (samples_ == 0) {
    lowest_ = row.lowest;
    highest_ = row.highest;
    mean_ = row.mean;
    squares_ = added * row.deviation * row.deviation;
    samples_ = samples;
    return;
  }
  const auto before = static_cast<double>(samples_);
  samples_ += samples;
  const double step = row.mean - mean_;
  const double share = added / static_cast<double>(samples_);
  lowest_ = std::min(lowest_, row.lowest);
  highest_ = std::max(highest_, row.highest);
  mean_ += step * share;
  squares_ += added * row.deviation * row.deviation + step * step * before * share;
}

Row Merge::row() const {
  return {.lowest = lowest_,
          .highest = highest_,
          .mean = mean_,
          .deviation = std::sqrt(squares_ / static_cast<double>(samples_))};
}

std::string pyramid_path(const std::string& device) {
  return "/pyramid/" + device;
}

std::string level_name(std::size_t level) {
  return std::to_string(level_samples.at(level));
}

}  // namespace windwright::recording
