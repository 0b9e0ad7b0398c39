// SPDX-License-Identifier: Apache-2.0
#include "recording/cf_names.h"

#include "base/units.h"

#include <string>
#include <string_view>
#include <utility>

namespace windwright::recording {

std::string_view cf_standard_name(std::string_view channel) {
  constexpr std::pair<std::string_view, std::string_view> names[] = {
      {"air_temperature", "air_temperature"},
      {"air_pressure", "air_pressure"},
      {"air_humidity", "relative_humidity"},
      {"air_speed", "wind_speed"}};
  const std::string quantity = base::without_unit(channel);
  for (const auto& [ours, theirs] : names) {
    if (quantity == ours) return theirs;
  }
  return {};
}

}  // namespace windwright::recording
