// SPDX-License-Identifier: Apache-2.0
#include "acquisition/derived_values.h"

#include "metrology/block_program.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace windwright::acquisition {

DerivedValues::DerivedValues(const bench::DerivedChannels& derived,
                             const std::vector<bool>& calibrated)
    : used_(calibrated.size(), false) {
  for (std::size_t i = 0; i < derived.list.size(); ++i) {
    const std::vector<bool>& of = derived.of[i];
    bool is_known = true;
    for (std::size_t channel = 0; channel < of.size(); ++channel)
      is_known = is_known && (!of[channel] || calibrated[channel]);
    if (!is_known) continue;
    known_.push_back(i);
    for (std::size_t channel = 0; channel < of.size(); ++channel)
      used_[channel] = used_[channel] || of[channel];
  }
  if (known_.empty()) return;
  program_ = metrology::block_program(derived.program);
  rows_.resize(program_.rows * metrology::block_trials);
  metrology::lay_constants(program_, rows_.data());
}

void DerivedValues::take(std::span<const float> channels, std::size_t samples,
                         std::span<float> to) {
  if (known_.empty()) return;
  constexpr std::size_t length = metrology::block_trials;
  for (std::size_t at = 0; at < samples; at += length) {
    const std::size_t count = std::min(length, samples - at);
    for (std::size_t channel = 0; channel < used_.size(); ++channel) {
      if (!used_[channel]) continue;
      const std::span<const float> from = channels.subspan(channel * samples + at, count);
      std::copy(from.begin(), from.end(), rows_.data() + channel * length);
    }
    metrology::run_block(program_, rows_.data());
    for (std::size_t k = 0; k < known_.size(); ++k) {
      const double* row = rows_.data() + program_.outputs[known_[k]] * length;
      for (std::size_t i = 0; i < count; ++i) {
        to[k * samples + at + i] = std::isfinite(row[i]) ? static_cast<float>(row[i])
                                                         : std::numeric_limits<float>::quiet_NaN();
      }
    }
  }
}

}  // namespace windwright::acquisition
