// SPDX-License-Identifier: Apache-2.0
#include "acquisition/trigger.h"

#include <cmath>
#include <cstddef>
#include <optional>
#include <span>

namespace windwright::acquisition {

std::optional<std::size_t> TriggerWatch::look(std::span<const float> values) {
  const auto level = static_cast<float>(trigger_.level);
  const auto meets = [&](float value) {
    switch (trigger_.condition) {
      case Trigger::Condition::above:
        return value > level;
      case Trigger::Condition::below:
        return value < level;
      case Trigger::Condition::rising:
        return before_ && *before_ <= level && value > level;
      case Trigger::Condition::falling:
        return before_ && *before_ >= level && value < level;
    }
    return false;
  };
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (!found && meets(values[i])) found = i;
    if (!std::isnan(values[i])) before_ = values[i];
  }
  return found;
}

}  // namespace windwright::acquisition
