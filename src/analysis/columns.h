// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>
#include <string_view>

namespace windwright::analysis {

/// A column that every reader of points CSV knows.
struct Column {
  std::string_view name;
  std::string_view meaning;
  double at_least;  // plausible range; outside it the value or its unit is wrong
  double at_most;
};

/// All of them, in the order of the file.
std::span<const Column> known_columns();
/// Null where the name is not known.
const Column* known_column(std::string_view name);

}  // namespace windwright::analysis
