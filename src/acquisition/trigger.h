// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>

namespace windwright::acquisition {

/// When a capture begins: a channel or power that rises or falls through a level, or is above or
/// below it at all.
struct Trigger {
  enum class Condition { rising, falling, above, below };
  std::string channel;
  Condition condition;
  double level;  // in the channel's unit
};

/// Looks for the trigger sample by sample, across blocks. A value that is no number never triggers,
/// and hides no edge between those around it.
class TriggerWatch {
 public:
  explicit TriggerWatch(const Trigger& trigger) : trigger_(trigger) {}
  /// @param values  of the channel in the next block
  /// @return        the first sample in them that meets the condition
  std::optional<std::size_t> look(std::span<const float> values);
  /// The samples before a gap say nothing about an edge behind it.
  void forget() { before_.reset(); }

 private:
  Trigger trigger_;
  std::optional<float> before_;
};

}  // namespace windwright::acquisition
