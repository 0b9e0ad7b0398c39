// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: rows of the pyramid.
#pragma once

#include "recording/piece_sums.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>

namespace windwright::recording {

/// What the pyramid says of a stretch of counts.
struct Row {
  double lowest;
  double highest;
  double mean;
  double deviation;  // standard deviation about the mean, of all samples (divided by their number)
};

constexpr std::size_t columns = 4;        // in the file, in the order of Row
constexpr std::int64_t rows_merged = 16;  // rows of a level that make one of the next
/// Samples in a row of each level.
constexpr std::array<std::int64_t, 5> level_samples = {256, 4096, 65536, 1'048'576, 16'777'216};
static_assert(level_samples[0] == piece_samples);

Row row_of(const PieceSums& piece);
/// @param counts  at least one
Row row_of(std::span<const std::int32_t> counts);

/// Rows of any numbers of samples taken together; means and deviations in double precision (Chan,
/// Golub and LeVeque, The American Statistician 37, 1983, p. 242).
class Merge {
 public:
  void add(const Row& row, std::int64_t samples);
  std::int64_t samples() const { return samples_; }
  /// Of at least one sample.
  Row row() const;

 private:
  std::int64_t samples_ = 0;
  double lowest_ = 0.0;
  double highest_ = 0.0;
  double mean_ = 0.0;
  double squares_ = 0.0;  // of the distances from the mean
};

std::string pyramid_path(const std::string& device);
/// The dataset's name in its channel's group: the number of samples of a row.
std::string level_name(std::size_t level);

}  // namespace windwright::recording
