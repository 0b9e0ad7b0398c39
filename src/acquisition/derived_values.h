// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/derived_table.h"
#include "metrology/block_program.h"

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::acquisition {

/// Works out a bench's derived channels from the values of its channels, sample by sample. One
/// thread. Allocates nothing after it was made.
class DerivedValues {
 public:
  /// @param calibrated  (channels of the bench): what is derived from any other has no value
  DerivedValues(const bench::DerivedChannels& derived, const std::vector<bool>& calibrated);

  /// Which of the bench's derived channels have values, in its order.
  const std::vector<std::size_t>& known() const { return known_; }

  /// @param channels  (channels) x (samples), channel by channel
  /// @param to        (known) x (samples); no number where an equation has no value
  void take(std::span<const float> channels, std::size_t samples, std::span<float> to);

 private:
  metrology::BlockProgram program_;
  std::vector<std::size_t> known_;
  std::vector<bool> used_;    // (channels): by an equation that has values
  std::vector<double> rows_;  // program_.rows x metrology::block_trials
};

}  // namespace windwright::acquisition
