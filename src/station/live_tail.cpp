// SPDX-License-Identifier: Apache-2.0
#include "station/live_tail.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::station {

LiveTail::LiveTail(std::size_t channels, double sample_rate_hz)
    : kept_(static_cast<std::size_t>(std::clamp(std::ceil(kept_s * sample_rate_hz),
                                                static_cast<double>(least),
                                                static_cast<double>(most)))),
      values_(channels * kept_) {}

void LiveTail::begin(bool joins, std::size_t samples) {
  first_ = joins ? count_ : 0;
  count_ = first_ + samples;
}

void LiveTail::take(std::size_t channel, std::span<const float> values) {
  const auto slots = std::span(values_).subspan(channel * kept_, kept_);
  const std::size_t skip = values.size() > kept_ ? values.size() - kept_ : 0;
  for (std::size_t i = skip; i < values.size(); ++i)
    slots[(first_ + i) % kept_] = values[i];
}

std::vector<double> LiveTail::samples(std::size_t channel) const {
  const auto slots = std::span(values_).subspan(channel * kept_, kept_);
  const std::size_t there = std::min(count_, kept_);
  std::vector<double> samples(there);
  for (std::size_t i = 0; i < there; ++i)
    samples[i] = static_cast<double>(slots[(count_ - there + i) % kept_]);
  return samples;
}

}  // namespace windwright::station
