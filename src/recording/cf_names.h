// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace windwright::recording {

/// The standard name of what a channel measures in the CF conventions for climate and forecast
/// metadata, which general-purpose readers know; empty where those have none (they know air, not
/// electricity or rotors).
/// Source: CF standard name table, version 79 (from memory): air_temperature, air_pressure,
/// relative_humidity, wind_speed.
std::string_view cf_standard_name(std::string_view channel);

}  // namespace windwright::recording
