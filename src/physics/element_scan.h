// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>

namespace windwright::physics {

/// The angles at which elements look for their solution, from the direction of turning: 0 and up to
/// 180 degrees, 0 and down to -90. Close together where a working rotor's angles are.
struct ElementScan {
  static constexpr std::size_t start = 29;  // the node at 0
  static constexpr std::size_t nodes = start + 1 + 70;
  // For whole vectors: the last node repeated.
  static constexpr std::size_t tabulated = 104;
  static constexpr std::size_t padded = 128;
  std::array<double, padded> x_rad;
  std::array<double, padded> sine;
  std::array<double, padded> cosine;
  // Between a node and the next.
  std::array<double, nodes - 1> middle_rad;
  std::array<double, nodes - 1> middle_sine;
  std::array<double, nodes - 1> middle_cosine;
};

const ElementScan& element_scan();

}  // namespace windwright::physics
